"""Which names never_after rules out at a place of a plan, for choosing what is done there."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from handbell.coach.library.apart import Apart
from handbell.coach.library.entry import Entry
from handbell.coach.library.following import Bibs, Following, Pair, Window
from handbell.coach.library.names import name_key
from handbell.coach.writing.edit import PlanText, Written
from handbell.compile.schedule import resolve
from handbell.plan.model import Exercise
from handbell.plan.own_tasks import by_bib
from handbell.plan.shorthands import named_by_list

At = tuple[int, ...]
"""Block, exercise, and place in a list, from 0."""

_CHOSEN = ""
"""The key of what is to be chosen, where it stands beside itself."""


class Beside:
    """What stands directly beside what; ``known`` changes as swaps are chosen."""

    def __init__(
        self, text: PlanText, direct: Mapping[Pair, Bibs], known: Mapping[At, Entry | None]
    ) -> None:
        self._plan = text.plan
        self._direct = direct
        self._known = known
        self._was = dict(known)
        self._rules = Apart(text.plan)

    def ruled_out(self, places: Sequence[Written], bibs: Collection[int] = ()) -> dict[str, str]:
        """Return the names (keys) that would break a rule at some places, and what is beside.

        For some bibs, or without them for all who do there what is written for everybody.
        """
        found: dict[str, str] = {}
        mine = {place.at for place in places}
        for place in places if self._rules.pairs else ():
            before, after = self._beside(place, mine, bibs)
            for one, other in self._rules.pairs:
                if name_key(one) in before:
                    found[name_key(other)] = one
                if name_key(other) in after:
                    found[name_key(one)] = other
                if one == other and _CHOSEN in before | after:
                    found[name_key(one)] = one
        return found

    def _beside(
        self, place: Written, mine: set[At], bibs: Collection[int]
    ) -> tuple[set[str], set[str]]:
        """Return what is done directly before a place, and directly after it, by its keys."""
        window, part = self._window(place)
        exercise = self._plan.blocks[window[0]].exercises[window[1]]
        before: set[str] = set()
        after: set[str] = set()
        if part is not None and not exercise.hands_over:
            for n in self._rules.before_part(exercise, part):
                before |= self._part(window, n, mine)
            for n in self._rules.after_part(exercise, part):
                after |= self._part(window, n, mine)
        last = len(exercise.parts) - 1
        for (one, other), people in self._direct_for(window, bibs).items():
            if window not in (one, other):
                continue
            some = people.intersection(bibs) if bibs else _as_written(exercise, people)
            if one == other:
                before |= self._part(one, last, mine) if some and part == 0 else set()
                after |= self._part(one, 0, mine) if some and part == last else set()
            elif other == window and part in (None, 0):
                before |= self._names(one, True, mine, some)
            elif one == window and part in (None, last):
                after |= self._names(other, False, mine, some)
        return before, after

    def _direct_for(self, window: Window, bibs: Collection[int]) -> Mapping[Pair, Bibs]:
        """Return what follows what as if nobody left a window out, where one of some bibs does."""
        b, e = window
        block = self._plan.blocks[b]
        scaled = block.exercises[e].scaled
        if not any(own.out and set(own.bibs).intersection(bibs) for own in scaled):
            return self._direct
        done = {"scaled": tuple(own for own in scaled if not own.out)}
        tasks, blocks = list(block.exercises), list(self._plan.blocks)
        tasks[e] = tasks[e].model_copy(update=done)
        blocks[b] = block.model_copy(update={"exercises": tuple(tasks)})
        plan = self._plan.model_copy(update={"blocks": tuple(blocks)})
        return Following(resolve(plan)).direct

    def _window(self, place: Written) -> tuple[Window, int | None]:
        """Return which window a place is in, and which part of its list."""
        if place.in_list:
            return (place.at[0], place.at[1]), place.at[2]
        if self._plan.blocks[place.block].exercises[0].parts and self._is_short(place.block):
            return (place.block, 0), place.at[1]
        return (place.at[0], place.at[1]), None

    def _is_short(self, block: int) -> bool:
        """Return whether a block's exercises are written as the parts of its one window."""
        form = self._plan.blocks[block].format
        return form is not None and (named_by_list(form) or form == "hand-over")

    def _names(self, window: Window, ends: bool, mine: set[At], bibs: Bibs) -> set[str]:
        """Return what bibs end or begin a window with, but for what is to be chosen there too."""
        exercise = self._plan.blocks[window[0]].exercises[window[1]]
        tasks = [task for task in by_bib(exercise, bibs).values() if not task.is_left_out]
        if any(task.parts for task in tasks):
            part = len(exercise.parts) - 1 if ends else 0
            return {name_key(exercise.name)} | self._part(window, part, mine)
        names = {name for task in tasks for name in (task.name, task.names[-1 if ends else 0])}
        return self._now(window, names, mine) if names else names

    def _part(self, window: Window, part: int, mine: set[At]) -> set[str]:
        b, e = window
        at = (b, part) if self._is_short(b) else (b, e, part)
        return self._now(at, {self._plan.blocks[b].exercises[e].parts[part].name}, mine)

    def _now(self, at: At, names: set[str], mine: set[At]) -> set[str]:
        """Return the names (keys) of what is there, or of what has been chosen meanwhile."""
        entry = self._known.get(at)
        if at in mine:
            return {_CHOSEN}
        if entry is not None and entry is not self._was.get(at):
            names = {*entry.names}
        return set(map(name_key, names))


def _as_written(exercise: Exercise, bibs: Bibs) -> Bibs:
    """Return who of some bibs does an exercise by the name that it has for everybody."""
    tasks = by_bib(exercise, bibs).items()
    return frozenset(bib for bib, task in tasks if task.names == exercise.names)
