"""What ``never_after`` keeps apart, and where a class breaks it: asked of nobody else.

    Apart(plan).between(one, other, bibs)  two exercises, done one after the other
    breaches(schedule)                     everything that a class breaks, with words

A rule may name an exercise, a part of a list, or a list. A list begins with its first part, ends
with its last one, and has its first after its last wherever it is gone through again, in the same
window or in the next one.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from typing import TYPE_CHECKING, NamedTuple

from handbell.base.words import quoted
from handbell.compile.schedule import resolve
from handbell.plan.faults import sentence
from handbell.plan.own_tasks import bibs_words, by_bib, done_by, everybody, plain

from .following import RECOVERED_MS, Following, Window

if TYPE_CHECKING:
    from handbell.compile.schedule import Schedule
    from handbell.plan.agreement import Place
    from handbell.plan.model import Block, Exercise, Plan

Names = tuple[str, str]


class Breach(NamedTuple):
    """A rule that is broken: the two windows, one and the same within a list, and by whom.

    ``part`` is the second one's place in a list, from 0, where it is one within a list.
    """

    first: Window
    second: Window
    names: Names
    bibs: tuple[int, ...]
    part: int | None = None


class Apart:
    """The rules of a plan, by the names that are done."""

    def __init__(self, plan: Plan) -> None:
        self.pairs = frozenset(plan.never_after)

    def between(
        self, first: Exercise, second: Exercise, bibs: Collection[int]
    ) -> dict[Names, tuple[int, ...]]:
        """Return the pairs that bibs do one after the other and should not, and which bibs do."""
        found: dict[Names, list[int]] = {}
        ends, begins = self.ends_of(first), self.begins_of(second)
        if not any(a in ends and b in begins for a, b in self.pairs):
            return {}
        for (one, other), some in _together(first, second, bibs).items():
            for names in ((a, b) for a in _ends(one) for b in _begins(other)):
                if names in self.pairs:
                    found.setdefault(names, []).extend(some)
        return {names: tuple(sorted(some)) for names, some in found.items()}

    def inside(self, exercise: Exercise) -> dict[Names, int]:
        """Return the pairs within a list that should not be, and the second one's place in it."""
        found: dict[Names, int] = {}
        for n, part in enumerate(exercise.parts):
            for before in self.before_part(exercise, n):
                names = (exercise.parts[before].name, part.name)
                if names in self.pairs:
                    found.setdefault(names, n)
        return found

    def again(self, exercise: Exercise) -> set[Names]:
        """Return the pair that a list breaks where it follows itself; of ``inside`` none anew."""
        if not exercise.parts or self.before_part(exercise, 0):
            return set()
        return {(exercise.parts[-1].name, exercise.parts[0].name)} & self.pairs

    def before_part(self, exercise: Exercise, part: int) -> list[int]:
        """Return which part of a list comes before another, from 0: none before the first one.

        Unless the list is gone through again; a list of one part only follows itself.
        """
        last = len(exercise.parts) - 1
        if part:
            return [part - 1]
        once = exercise.reps is not None and max(exercise.reps.values) == 1
        return [last] if last and not once else []

    def after_part(self, exercise: Exercise, part: int) -> list[int]:
        """Return which part of a list comes after another, from 0."""
        after = (part + 1) % len(exercise.parts)
        return [after] if part in self.before_part(exercise, after) else []

    def ends_of(self, exercise: Exercise) -> set[str]:
        """Return every name that anybody may end an exercise with."""
        own = {own.name for own in exercise.scaled if own.name is not None}
        return {exercise.name, exercise.names[-1], *own}

    def begins_of(self, exercise: Exercise) -> set[str]:
        """Return every name that anybody may begin an exercise with."""
        own = {own.name for own in exercise.scaled if own.name is not None}
        return {exercise.name, exercise.names[0], *own}


def breaches(schedule: Schedule, following: Following | None = None) -> list[Breach]:
    """Return everything that a class does directly after what it never should.

    ``following`` is what follows what in it, where it is known already.
    """
    plan = schedule.plan
    rules = Apart(plan)
    if not rules.pairs:
        return []
    found = list(_in_lists(plan, rules))
    for ((b, e), (b_next, e_next)), bibs in (following or Following(schedule)).direct.items():
        one, other = plan.blocks[b].exercises[e], plan.blocks[b_next].exercises[e_next]
        if one is other:
            some = _through(one, bibs)
            found += [Breach((b, e), (b, e), names, some, 0) for names in rules.again(one) if some]
            continue
        found += [
            Breach((b, e), (b_next, e_next), names, some)
            for names, some in rules.between(one, other, bibs).items()
        ]
    return sorted(found, key=lambda breach: (breach.second, breach.first))


def _in_lists(plan: Plan, rules: Apart) -> Iterator[Breach]:
    """Yield what lists break; where a tap hands over, each part is somebody else's."""
    for b, block in enumerate(plan.blocks):
        for e, exercise in enumerate(block.exercises):
            if not exercise.parts or block.hand_over:
                continue
            done = _through(exercise, everybody(plan))
            for names, part in rules.inside(exercise).items() if done else ():
                yield Breach((b, e), (b, e), names, done, part)


def _through(exercise: Exercise, bibs: Iterable[int]) -> tuple[int, ...]:
    """Return who of some bibs goes through a list, and has no other task."""
    return tuple(sorted(bib for bib, task in by_bib(exercise, bibs).items() if task.parts))


def held_breaks(plan: Plan) -> set[int]:
    """Return the blocks (from 0) whose breaks, a minute at least, keep apart what should be."""
    long = {b for b, ms in enumerate(map(plan.break_after_ms, plan.blocks)) if ms >= RECOVERED_MS}
    if not plan.never_after or not long:
        return set()
    none = [block.model_copy(update={"break_ms": 0}) for block in plan.blocks]
    near = resolve(plan.model_copy(update={"blocks": tuple(none)}))
    return {
        b
        for breach in breaches(near)
        for b in range(breach.first[0], breach.second[0])
        if b in long
    }


def breach_words(plan: Plan, found: Iterable[Breach]) -> list[str]:
    """Return a sentence for each breach, with what to do; the same is said once."""
    return list(dict.fromkeys(_words(plan, breach) for breach in found))


def _words(plan: Plan, breach: Breach) -> str:
    b, (b_next, e_next) = breach.first[0], breach.second
    before, after = breach.names
    whom = f"for {bibs_words(breach.bibs)}, " if _are_few(plan, breach.bibs) else ""
    if breach.part is not None:
        what = "let another part come between"
    elif b == b_next:
        what = "let another come between, or try handbell order"
    else:
        what = f"begin with another, or write break_s = 60 in block {b + 1}"
    return sentence(
        _place(plan.blocks[b_next], b_next, e_next, breach.part),
        f"{whom}{quoted(after)} comes directly after {quoted(before)}, which never_after "
        f"rules out; {what}",
    )


def _place(block: Block, b: int, e: int, part: int | None) -> Place:
    """Return where something is written; in a short form each part is an exercise."""
    place: Place = ("block", b, "exercise", e)
    if part is None:
        return place
    return (*place, "part", part) if block.format is None else (*place[:3], part)


def _are_few(plan: Plan, bibs: Collection[int]) -> bool:
    """Return whether it is for less than most people, who are then named."""
    return 2 * len(bibs) <= len(everybody(plan))


def _together(
    first: Exercise, second: Exercise, bibs: Collection[int]
) -> dict[tuple[Exercise, Exercise], list[int]]:
    """Return what bibs do of two exercises, those together who do the same of both."""
    scaled = {bib for exercise in (first, second) for own in exercise.scaled for bib in own.bibs}
    found: dict[tuple[Exercise, Exercise], list[int]] = {}
    for bib in scaled.intersection(bibs):
        both = done_by(first, bib), done_by(second, bib)
        if not (both[0].is_left_out or both[1].is_left_out):
            found.setdefault(both, []).append(bib)
    if others := [bib for bib in bibs if bib not in scaled]:
        found.setdefault((plain(first), plain(second)), []).extend(others)
    return found


def _ends(task: Exercise) -> set[str]:
    """Return what a task ends with, by its names; nothing where it is left out."""
    return set() if task.is_left_out else {task.name, task.names[-1]}


def _begins(task: Exercise) -> set[str]:
    return set() if task.is_left_out else {task.name, task.names[0]}
