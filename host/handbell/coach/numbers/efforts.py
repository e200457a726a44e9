"""What each person does in a class, window by window."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from handbell.plan.own_tasks import bibs_words, by_bib, in_legs, plain

if TYPE_CHECKING:
    from handbell.compile import CompiledClass
    from handbell.compile.schedule import Schedule
    from handbell.plan.model import Exercise, Plan


# Own tasks as done, legs waited, and between how many a tap hands over, by exercise.
_Sort = tuple[tuple["Exercise", ...], tuple[int, ...], tuple[int, ...]]


class Effort(NamedTuple):
    """A person's window; ``exercise`` is None while waiting, or for who leaves it out.

    Where a tap hands over, ``duration_ms`` is a person's share of the window, ``whole_ms`` all.
    """

    exercise: Exercise | None
    round: int
    start_ms: int
    duration_ms: int
    whole_ms: int


def ways(built: CompiledClass) -> Iterator[tuple[tuple[str, ...], list[Effort]]]:
    """Yield the windows in order, with the groups (without groups the stations) that have them.

    In lanes those that do the same are together; in a rotation each group is by itself. Bibs with
    own tasks have ways of their own, and are named behind their group; so have those of a relay,
    who wait in the windows of the others.
    """
    for people, efforts in _ways(built):
        yield tuple(_who(built, n, bibs) for n, bibs in people.items()), efforts


def earners(built: CompiledClass, station: int | None = None) -> tuple[str, ...] | None:
    """Return who may earn rest, since a window has a target for them; None when all may.

    With a ``station``, from 1, only those who come to it are looked at: all in a rotation.
    """
    here = None if station is None or built.plan.is_rotation else station - 1
    found: dict[int, list[int]] = {}
    everybody = True
    for people, efforts in _ways(built):
        earn = any(e.exercise is not None and e.exercise.reps is not None for e in efforts)
        for n, bibs in people.items():
            if here is None or n == here:
                everybody = everybody and earn
                found.setdefault(n, []).extend(bibs if earn else ())
    told = {n: sorted(bibs) for n, bibs in sorted(found.items()) if bibs}
    return None if everybody else tuple(_who(built, n, bibs) for n, bibs in told.items())


def _ways(built: CompiledClass) -> Iterator[tuple[dict[int, list[int]], list[Effort]]]:
    """Yield the windows in order, with the bibs of each group that has them."""
    plan, schedule = built.plan, built.schedule
    together: dict[int, list[int]] = {}
    for walker, first in enumerate(schedule.alike):
        together.setdefault(first, []).append(walker)
    legs = [n for n, s in enumerate(schedule.windows()) if plan.blocks[s.block - 1].relay]
    for first, same in together.items():
        efforts = [
            Effort(
                post.exercise if post else None, s.round, s.start_ms, s.duration_ms, s.duration_ms
            )
            for s, post in schedule.walk(first)
        ]
        exercises = {id(e.exercise): e.exercise for e in efforts}
        scaled = [e for e in exercises.values() if e is not None and e.scaled]
        shared = [e for e in exercises.values() if e is not None and e.hands_over]
        turns = {walker: _turns(schedule, walker, legs) for walker in same}
        for (done, off, sizes), people in _sorts(plan, turns, scaled, shared):
            between = {id(e): n for e, n in zip(shared, sizes, strict=True)}
            instead: dict[int, Exercise] = {id(e): own for e, own in zip(scaled, done, strict=True)}
            theirs = [
                e._replace(
                    exercise=_worked(instead.get(id(e.exercise), e.exercise)),
                    duration_ms=e.duration_ms // between.get(id(e.exercise), 1),
                )
                for e in efforts
            ]
            for n in off:
                theirs[legs[n]] = theirs[legs[n]]._replace(exercise=None)
            yield people, theirs


def _turns(schedule: Schedule, walker: int, legs: list[int]) -> list[tuple[int, ...]]:
    """Return whose legs the windows of relays are."""
    windows = list(schedule.walk(walker)) if legs else []
    turns = (windows[n] for n in legs)
    return [post.bibs(s.turn) if post else () for s, post in turns]


def _sorts(
    plan: Plan,
    turns: dict[int, list[tuple[int, ...]]],
    scaled: list[Exercise],
    shared: list[Exercise],
) -> list[tuple[_Sort, dict[int, list[int]]]]:
    """Return how exercises with own tasks are done and which legs waited, by whom of each group.

    ``turns`` has the bibs of each leg, by group. Those who do all as it is written come first.
    """
    found: dict[_Sort, dict[int, list[int]]] = {}
    for group, legs in turns.items():
        tasks = [by_bib(exercise, _bibs(plan, group)) for exercise in scaled]
        sizes = tuple(max(1, len(in_legs(exercise, _bibs(plan, group)))) for exercise in shared)
        for bib in _bibs(plan, group):
            done = tuple(_untapped(task[bib]) for task in tasks)
            off = tuple(n for n, bibs in enumerate(legs) if bib not in bibs)
            found.setdefault((done, off, sizes), {}).setdefault(group, []).append(bib)
    written = tuple(_untapped(plain(exercise)) for exercise in scaled)
    return sorted(found.items(), key=lambda item: item[0][0] != written)


def _worked(exercise: Exercise | None) -> Exercise | None:
    """Return an exercise, None for who leaves it out, which counts as waiting."""
    return None if exercise is None or exercise.is_left_out else exercise


def _untapped(exercise: Exercise) -> Exercise:
    """Return an exercise as it is done, however it is tapped."""
    return exercise.model_copy(update={"tap_as": None})


def _bibs(plan: Plan, n: int) -> tuple[int, ...]:
    return plan.groups[n].bibs if plan.groups else (n + 1,)


def _who(built: CompiledClass, n: int, bibs: list[int]) -> str:
    """Return what some bibs of a group are called: the group when they are all of it."""
    plan = built.plan
    name = plan.groups[n].name if plan.groups else built.timelines[n].label
    return name if len(bibs) == len(_bibs(plan, n)) else f"{name} ({bibs_words(bibs)})"
