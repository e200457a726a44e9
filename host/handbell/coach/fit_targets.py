"""Targets and goals beside the windows they are made in: shrunk with them, or told as denser."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from handbell.plan.model import Exercise, PerRound, Plan, Scaled
from handbell.plan.own_tasks import each_task
from handbell.plan.rules import Place

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
    """A target that stays while its windows get shorter; windows in ms, one a round in lists."""

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
            to = shrunk(said, was, now.work)
            if to is not None and to != said:
                bibs = () if own is None else was.scaled[own].bibs
                name = was.name if own is None else was.scaled[own].name or was.name
                at = place if own is None else (*place, "scaled", own)
                found.append(Eased(at, key, name, bibs, said, to))
    return found


def denser(before: Plan, after: Plan) -> list[Denser]:
    """Return every target that must be made in less time than before."""
    return [
        Denser(task.name, bibs, task.reps, was.work, now.work)
        for _, was, now in _exercises(before, after)
        if any(b > a for b, a in zip(was.work.values, now.work.values, strict=True))
        for (task, bibs), (later, _) in zip(each_task(was), each_task(now), strict=True)
        if task.reps is not None and task.reps == later.reps
    ]


def can_shrink(exercise: Exercise, work: PerRound) -> bool:
    """Return whether all that an exercise asks for can shrink to other windows, in whole reps."""
    return all(shrunk(said, exercise, work) is not None for _, _, said in _said(exercise))


def shrunk(said: PerRound, exercise: Exercise, work: PerRound) -> PerRound | None:
    """Return reps in proportion to windows that got shorter, rounded down.

    Reps of both sides stay even when they were. None when less than a rep would be left, or one a
    side; longer windows change nothing.
    """
    even = exercise.both_sides and not any(reps % 2 for reps in said.values)
    step = 2 if even else 1
    became = []
    for n, reps in enumerate(said.values, 1):
        rounds = (n,) if said.listed else range(1, len(work.values) + 1)
        times = [(exercise.work.at(r), work.at(r)) for r in rounds]
        least = min(min(now, was) * reps // was for was, now in times)
        if least < step:
            return None
        became.append(least // step * step)
    return PerRound(tuple(became), said.listed)


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
