"""Targets and goals beside the windows they are made in: shrunk with them, or told as denser."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

from handbell.plan.agreement import Place
from handbell.plan.model import Exercise, PerRound, Plan, Scaled, with_own
from handbell.plan.own_tasks import each_task, plain
from handbell.plan.pauses import pauses_after, places

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
        for own, key, said in _said(was):
            to = shrunk(said, was, now.work, _tasks(was, own))
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
        shrunk(said, exercise, work, _tasks(exercise, own)) is not None
        for own, _, said in _said(exercise)
    )


def shrunk(
    said: PerRound, exercise: Exercise, work: PerRound, tasks: Iterable[Exercise]
) -> PerRound | None:
    """Return reps in proportion to windows that got shorter, rounded down.

    ``tasks`` are those that owe these reps: whole taps of each, as the box counts. Reps of both
    sides stay even when they were. None when less than a rep would be left, one a side or one tap;
    longer windows change nothing.
    """
    even = exercise.both_sides and not any(reps % 2 for reps in said.values)
    taps = [task.tap for task in tasks]
    step = lcm(2 if even else 1, *(tap.every for tap in taps))
    became = []
    for n, reps in enumerate(said.values, 1):
        rounds = (n,) if said.listed else range(1, len(work.values) + 1)
        times = [(exercise.work.at(r), work.at(r)) for r in rounds]
        cut = [(was, now) for was, now in times if now < was]
        if not cut:
            became.append(reps)
            continue
        least = min(now * tap.owed(reps) // was for was, now in cut for tap in taps)
        if least < step:
            return None
        became.append(least // step * step)
    return PerRound(tuple(became), said.listed)


def _tasks(exercise: Exercise, own: int | None) -> list[Exercise]:
    """Return the tasks that owe what a table says: everybody's (None), or one own task's."""
    if own is not None:
        return [with_own(exercise, exercise.scaled[own])]
    asks = [scaled.reps or scaled.goal or scaled.hold for scaled in exercise.scaled]
    heirs = [s for s, asked in zip(exercise.scaled, asks, strict=True) if not asked]
    return [plain(exercise), *(with_own(exercise, scaled) for scaled in heirs)]


def _said(exercise: Exercise) -> Iterator[tuple[int | None, str, PerRound]]:
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
