"""What is asked for, one step easier or harder: of everybody, of single bibs, of a list's parts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from math import floor, lcm
from typing import Any

from handbell.coach.library.entry import Entry
from handbell.coach.library.shelf import Library
from handbell.coach.swap.keys import new_keys
from handbell.coach.writing.edit import PlanText, Written
from handbell.plan.agreement import Place
from handbell.plan.model import Exercise, PerRound
from handbell.plan.own_tasks import each_task
from handbell.plan.shorthands import asks_each
from handbell.plan.values import REPS_MOST

from .along import EASIER, Along, share_of
from .step_reps import FEWER, RANGE_MS, grown, more, sensible
from .targets import KEYS, Ower, asks_of, owers_of, shrunk

_NOTHING: tuple[tuple[int, ...], tuple[int, ...]] = ((), ())

Table = dict[str, Any]
Changes = dict[Place, Table]


@dataclass(frozen=True)
class TaskStep:
    """What something to do becomes; ``bibs`` whose own task it is, none for everybody's.

    ``to`` is its name now. ``key`` is reps or goal, or "" when nothing is asked; ``was`` and
    ``now`` have a number a round, or one. ``lever`` and ``cautions`` are the library's words.
    ``once`` when people now tap once, all reps made, where they had tapped more often.
    """

    name: str
    to: str
    bibs: tuple[int, ...] = ()
    key: str = ""
    was: tuple[int, ...] = ()
    now: tuple[int, ...] = ()
    lever: str = ""
    cautions: str = ""
    once: bool = False

    @property
    def changes(self) -> bool:
        """Whether it becomes anything else."""
        return self.name != self.to or self.was != self.now


def _taps_once(task: Exercise, old: Entry | None, new: Entry) -> bool:
    """Return whether a new exercise is tapped when all reps are made, as swap has it."""
    tap = {"every": task.tap.every} if task.tap.rule == "every" else task.tap.rule
    asked = {"reps": REPS_MOST, "tap": tap}  # so many that taps come out whole
    return task.reps is not None and new_keys(asked, old, new)[0].get("tap") == "finish"


class TaskSteps:
    """The tasks of one plan, and what each becomes; ``counted`` is the kit whose number it says."""

    def __init__(self, text: PlanText, along: Along) -> None:
        self._text = text
        self._along = along
        self._places: dict[str, list[Written]] = {}
        for place in text.exercises:
            self._places.setdefault(place.values["name"], []).append(place)

    @property
    def library(self) -> Library:
        """The library that the steps are of."""
        return self._along.library

    def of(
        self, place: Written, work: PerRound | None, ladder: bool
    ) -> tuple[Changes, list[TaskStep]] | None:
        """Return a place's changes with windows of new lengths (None: they stay), and in words.

        Without ``ladder`` no exercise is changed. None when whole reps can't fit the windows.
        """
        if not asks_each(self._text.plan.blocks[place.block].format) and not self._is_rung(place):
            return self._part(place, ladder)
        if place.in_list:
            return self._part(place, ladder)
        exercise = self._text.plan.blocks[place.block].exercises[place.at[1]]
        new_work = work or exercise.work
        if self._along.way == EASIER:
            return self._easier(place, exercise, new_work, ladder)
        return self._harder(place, exercise, new_work, ladder)

    def _is_rung(self, place: Written) -> bool:
        return self._text.plan.blocks[place.block].format == "ladder"

    def _next(
        self,
        name: str,
        hold: bool,
        ladder: bool,
        own_at: Written | None = None,
        bibs: Sequence[int] = (),
    ) -> list[Entry]:
        """Return an exercise's next ones, for all the plan or for bibs' own task at a place."""
        old = self._along.library.find(name)
        if not ladder or old is None or old.is_hold is not hold:
            return []
        if own_at is not None:
            return self._along.next_to(old, [own_at], bibs)
        return self._along.next_to(old, self._places[name])

    # Easier

    def _easier(
        self, place: Written, exercise: Exercise, work: PerRound, ladder: bool
    ) -> tuple[Changes, list[TaskStep]] | None:
        mains = [*self._next(exercise.name, exercise.hold, ladder), None]
        own: dict[int | None, Entry | None] = {}
        for n, (task, bibs) in enumerate(each_task(exercise), -1):
            if n >= 0 and exercise.scaled[n].name is not None:
                own[n] = next(iter(self._next(task.name, task.hold, ladder, place, bibs)), None)
        stays: dict[int | None, Entry | None] = dict.fromkeys(own)
        for main, theirs, less in product(mains, (own, stays), (FEWER, Fraction(1))):
            reps = self._reps(place, exercise, work, {None: main, **theirs}, less)
            if reps is not None:
                return self._told(place, exercise, {None: main, **theirs}, reps)
        return None

    def _reps(
        self,
        place: Written,
        exercise: Exercise,
        work: PerRound,
        new: dict[int | None, Entry | None],
        less: Fraction,
    ) -> dict[tuple[int | None, str], PerRound] | None:
        """Return what is asked with new exercises: nobody owes more, or has less earned rest."""
        find = self._along.library.find
        found = {}
        for own, key, said in asks_of(exercise):
            owers, done = [], []
            for n, task in owers_of(exercise, own):
                which = n if n in new else None  # who has no name of their own does everybody's
                entry = new[which]
                share = share_of(find(task.name), entry)
                if entry is None and n == own and not (own is None and self._is_rung(place)):
                    share = less
                owers.append(Ower(task.tap, share))
                done.append(entry or find(task.name))
            if own is None and self._is_rung(place):
                if min(ower.share for ower in owers) < 1:
                    return None  # the ladder says the reps
                continue
            to = shrunk(said, exercise, work, owers)
            if to is None:
                return None
            step = lcm(*(ower.tap.every for ower in owers))
            found[own, key] = sensible(said, to, work, [e for e in done if e], step)
        return found

    def _told(
        self,
        place: Written,
        exercise: Exercise,
        new: dict[int | None, Entry | None],
        reps: dict[tuple[int | None, str], PerRound],
    ) -> tuple[Changes, list[TaskStep]]:
        changes: Changes = {}
        told = []
        for n, (task, bibs) in enumerate(each_task(exercise), -1):
            if task.is_left_out:
                continue
            own = None if n < 0 else n
            at: Place = place.place if own is None else (*place.place, "scaled", own)
            values = place.values if own is None else place.values["scaled"][own]
            entry, old = new.get(own), self._along.library.find(task.name)
            keys: Table = {}
            if entry is not None and own is None:
                keys = self._name_keys(place, exercise, old, entry)
            elif entry is not None:
                keys = {"name": entry.name}
                if _taps_once(task, old, entry):
                    keys["tap"] = "finish"
            key, (was, now) = "", _NOTHING
            for asked in KEYS:
                if (own, asked) in reps:
                    said, to = getattr(task, asked), reps[own, asked]
                    key, was, now = asked, said.values, to.values
                    if to != said:
                        keys[asked] = list(to.values) if to.listed else to.values[0]
                elif (None, asked) in reps and getattr(task, asked) is not None:
                    # What it doesn't say is as for everybody, and falls with theirs.
                    key, was, now = asked, getattr(task, asked).values, reps[None, asked].values
            named = own is None or own in new
            lever = self._along.lever(old) if entry is None and named else ""
            if lever and not values.get("note"):
                keys["note"] = lever
            if keys:
                changes[at] = keys
            main = new.get(None) if own is not None and not named else entry
            to_name = main.name if main is not None else task.name
            told.append(
                TaskStep(
                    task.name,
                    to_name,
                    bibs,
                    key,
                    was,
                    now,
                    lever,
                    entry.cautions if entry else "",
                    keys.get("tap") == "finish",
                )
            )
        return changes, told

    def _name_keys(
        self, place: Written, exercise: Exercise | None, old: Entry | None, new: Entry
    ) -> Table:
        """Return the keys that change with the exercise, but for what is asked."""
        left = {k: v for k, v in place.values.items() if k not in (*KEYS, "scaled")}
        alone = not place.in_list and asks_each(self._text.plan.blocks[place.block].format)
        keys = new_keys(left, old, new, self._text.kit, alone)[0]
        if alone and exercise is not None and _taps_once(exercise, old, new):
            keys["tap"] = "finish"
        return keys

    # Parts of a list

    def _part(self, place: Written, ladder: bool) -> tuple[Changes, list[TaskStep]]:
        values = place.values
        name, said = values["name"], values.get("reps")
        old = self._along.library.find(name)
        is_easier = self._along.way == EASIER
        step = 2 if values.get("both_sides") and said and said % 2 == 0 else 1
        for entry in [*self._next(name, "hold_s" in values, ladder), None]:
            keys = self._name_keys(place, None, old, entry) if entry is not None else {}
            now = said
            if said is not None and is_easier:
                now = (
                    floor(said * (FEWER if entry is None else share_of(old, entry))) // step * step
                )
                if now < 1 and entry is not None:
                    continue
                now = now or said
            elif said is not None:
                now = more(said, RANGE_MS, old, entry, step, 1)
            if now != said:
                keys["reps"] = now
            break
        lever = self._along.lever(old) if entry is None else ""
        cautions = entry.cautions if entry else ""
        to = entry.name if entry else name
        if said is None or now is None:
            told = TaskStep(name, to, lever=lever, cautions=cautions)
        else:
            told = TaskStep(name, to, (), "reps", (said,), (now,), lever, cautions)
        return ({place.place: keys} if keys else {}), [told]

    # Harder

    def _harder(
        self, place: Written, exercise: Exercise, work: PerRound, ladder: bool
    ) -> tuple[Changes, list[TaskStep]]:
        """Return the next step up for everybody; own tasks stay, and are written out for that."""
        old, is_rung = self._along.library.find(exercise.name), self._is_rung(place)
        found = self._next(exercise.name, exercise.hold, ladder)
        if is_rung:  # the ladder says the reps, so they must fit the new one as well
            found = [entry for entry in found if share_of(old, entry) == 1]
        entry = next(iter(found), None)
        keys = self._name_keys(place, exercise, old, entry) if entry is not None else {}
        key, (was, now) = "", _NOTHING
        for asked in KEYS:
            said: PerRound | None = getattr(exercise, asked)
            if said is not None and not is_rung:
                to = grown(said, exercise, work, old, entry)
                key, was, now = asked, said.values, to.values
                if to != said:
                    keys[asked] = list(to.values) if to.listed else to.values[0]
        lever = self._along.lever(old) if entry is None else ""
        if lever and not exercise.note:
            keys["note"] = lever
        changes: Changes = {place.place: keys} if keys else {}
        name = entry.name if entry else exercise.name
        cautions = entry.cautions if entry else ""
        once = keys.get("tap") == "finish"
        told = [TaskStep(exercise.name, name, (), key, was, now, lever, cautions, once)]
        for n, (task, bibs) in enumerate(each_task(exercise), -1):
            if n >= 0 and not task.is_left_out:
                own = exercise.scaled[n]
                pinned: Table = {}
                if name != exercise.name and own.name is None:
                    pinned["name"] = exercise.name
                if key in keys and not (own.reps or own.goal or own.hold):
                    pinned[key] = list(was) if isinstance(keys[key], list) else was[0]
                if once and own.tap_as is None and not own.hold:
                    pinned["tap"] = place.values.get("tap", "each")
                if pinned:
                    changes[(*place.place, "scaled", n)] = pinned
                told.append(TaskStep(task.name, task.name, bibs))
        return changes, told
