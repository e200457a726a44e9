"""Targets and goals beside the windows they are made in: shrunk with them, or told as denser."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import floor, lcm
from typing import NamedTuple

from handbell.plan.agreement import Place
from handbell.plan.model import Exercise, PerRound, Plan, Scaled, with_own
from handbell.plan.own_tasks import each_task, plain
from handbell.plan.pauses import pauses_after, places
from handbell.plan.values import Tap

KEYS = ("reps", "goal")


@dataclass(frozen=True)
class Eased:
    """A target or goal (``key``) of the table at ``place`` that shrinks with its window.

    ``bibs`` are those whose own task it is, none for everybody's.
    """

    place: Place
    key: str
    name: str
    bibs: tuple[int, ...]
    was: PerRound
    to: PerRound


class Ower(NamedTuple):
    """How somebody taps who owes reps, and which share of them can be asked in the same time."""

    tap: Tap
    share: Fraction = Fraction(1)


@dataclass(frozen=True)
class Denser:
    """A target or goal (``key``) that stays while its windows get shorter.

    Windows are in ms, one a round in lists.
    """

    key: str
    name: str
    bibs: tuple[int, ...]
    reps: PerRound
    was_ms: PerRound
    to_ms: PerRound


def eased(before: Plan, after: Plan) -> list[Eased]:
    """Return every target and goal that must shrink so that none is denser than before."""
    found = []
    for place, was, now in _exercises(before, after):
        for own, key, said in asks_of(was):
            to = shrunk(said, was, now.work, _owers(was, own))
            if to is not None and to != said:
                bibs = () if own is None else was.scaled[own].bibs
                name = was.name if own is None else was.scaled[own].name or was.name
                at = place if own is None else (*place, "scaled", own)
                found.append(Eased(at, key, name, bibs, said, to))
    return found


def denser(before: Plan, after: Plan) -> list[Denser]:
    """Return every target and goal that must be made in less time than before."""
    return [
        Denser(key, task.name, bibs, said, was.work, now.work)
        for _, was, now in _exercises(before, after)
        if any(b > a for b, a in zip(was.work.values, now.work.values, strict=True))
        for (task, bibs), (later, _) in zip(each_task(was), each_task(now), strict=True)
        for key in KEYS
        if (said := getattr(task, key)) is not None and said == getattr(later, key)
    ]


def work_share(plan: Plan, b: int) -> Fraction:
    """Return which share of a block's time is work.

    Its last window counts with the rest that it would have if another followed, so that fewer
    rounds alone change nothing; one window alone is all work.
    """
    block = plan.blocks[b]
    all_places = list(places(plan, block))
    if len(all_places) == 1 and not block.rest_after_last:
        return Fraction(1)
    work_ms = pause_ms = 0
    for place in all_places:
        work_ms += block.exercises[0 if plan.is_rotation else place.step].work.at(place.round)
        within = place._replace(ends_block=False)
        pause_ms += sum(pause.duration_ms for pause in pauses_after(plan, b, within))
    return Fraction(work_ms, work_ms + pause_ms)


def can_shrink(exercise: Exercise, work: PerRound) -> bool:
    """Return whether all that an exercise asks for can shrink to other windows, in whole reps."""
    return all(
        shrunk(said, exercise, work, _owers(exercise, own)) is not None
        for own, _, said in asks_of(exercise)
    )


def shrunk(
    said: PerRound, exercise: Exercise, work: PerRound, owers: Iterable[Ower]
) -> PerRound | None:
    """Return reps in proportion to windows that got shorter, or less where reps take longer.

    ``owers`` are those who owe these reps: the result is whole taps of each, as the box counts.
    Reps of both sides stay even when they were. None when less than a rep would be left, one a
    side or one tap; more is never asked.
    """
    even = exercise.both_sides and not any(reps % 2 for reps in said.values)
    all_owers = list(owers)
    step = lcm(2 if even else 1, *(ower.tap.every for ower in all_owers))
    became = []
    for n, reps in enumerate(said.values, 1):
        rounds = (n,) if said.listed else range(1, len(work.values) + 1)
        shares = [
            (Fraction(work.at(r), exercise.work.at(r)) * ower.share, ower.tap)
            for r in rounds
            for ower in all_owers
        ]
        least = min(floor(share * tap.owed(reps)) for share, tap in shares)
        if min(share for share, _ in shares) >= 1:
            became.append(reps)
        elif least < step:
            return None
        else:
            became.append(least // step * step)
    return PerRound(tuple(became), said.listed)


def owers_of(exercise: Exercise, own: int | None) -> list[tuple[int | None, Exercise]]:
    """Return the tasks that owe what a table says: everybody's (None), or one own task's.

    Each has its number, None for everybody's; those who ask nothing of their own owe everybody's.
    """
    if own is not None:
        return [(own, with_own(exercise, exercise.scaled[own]))]
    heirs = (
        (n, with_own(exercise, scaled))
        for n, scaled in enumerate(exercise.scaled)
        if not (scaled.reps or scaled.goal or scaled.hold or scaled.out)
    )
    return [(None, plain(exercise)), *heirs]


def _owers(exercise: Exercise, own: int | None) -> list[Ower]:
    return [Ower(task.tap) for _, task in owers_of(exercise, own)]


def asks_of(exercise: Exercise) -> Iterator[tuple[int | None, str, PerRound]]:
    """Yield what is asked for: which own task's (None: everybody's), the key, and the reps."""
    tables: list[tuple[int | None, Exercise | Scaled]] = [(None, exercise)]
    tables += enumerate(exercise.scaled)
    for own, table in tables:
        for key in KEYS:
            said: PerRound | None = getattr(table, key)
            if said is not None:
                yield own, key, said


def _exercises(before: Plan, after: Plan) -> Iterator[tuple[Place, Exercise, Exercise]]:
    for b, (old, new) in enumerate(zip(before.blocks, after.blocks, strict=True)):
        for e, pair in enumerate(zip(old.exercises, new.exercises, strict=True)):
            yield ("block", b, "exercise", e), *pair
