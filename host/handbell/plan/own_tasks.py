"""Who does what in a window: what most people there are asked for, and what single bibs are."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Generic, TypeVar

from handbell.plan.model import for_bib, with_own

if TYPE_CHECKING:
    from handbell.plan.agreement import Place
    from handbell.plan.model import Exercise, Plan

PlacedTask = tuple["Place", "Exercise", tuple[int, ...]]
RUN_LEAST = 3  # so many bibs in a row are written as the first and the last

T = TypeVar("T", bound=Hashable)


@dataclass(frozen=True)
class Own(Generic[T]):
    """What some bibs are asked for instead of what most are."""

    bibs: tuple[int, ...]
    what: T


@dataclass(frozen=True)
class Tasks(Generic[T]):
    """What most people are asked for, and each own task once with all who have it."""

    most: T
    own: tuple[Own[T], ...]


def parted(written: T, by_bib: Mapping[int, T]) -> Tasks[T]:
    """Return what most do, given what is written and what each bib does.

    Most do what is written as soon as anybody does; else what is done by the most bibs.
    """
    found: dict[T, list[int]] = {}
    for bib, what in by_bib.items():
        found.setdefault(what, []).append(bib)
    most = written
    if found and written not in found:
        most = max(found, key=lambda what: len(found[what]))
    own = (Own(tuple(sorted(bibs)), what) for what, bibs in found.items() if what != most)
    return Tasks(most, tuple(sorted(own, key=lambda o: o.bibs)))


def tasks_of(exercise: Exercise, bibs: Iterable[int]) -> Tasks[Exercise]:
    """Return what an exercise asks of some bibs."""
    if not exercise.scaled:
        return Tasks(exercise, ())
    return parted(plain(exercise), by_bib(exercise, bibs))


def by_bib(exercise: Exercise, bibs: Iterable[int]) -> dict[int, Exercise]:
    """Return an exercise as each of some bibs does it."""
    tasks = list(each_task(exercise))
    own = {bib: task for task, whose in tasks for bib in whose}
    return {bib: own.get(bib, tasks[0][0]) for bib in bibs}


def done_by(exercise: Exercise, bib: int) -> Exercise:
    """Return an exercise as a bib does it; equal for all who do the same."""
    return plain(for_bib(exercise, bib))


def in_legs(exercise: Exercise, bibs: Iterable[int]) -> list[int]:
    """Return who of some bibs has legs of an exercise: all but those who leave it out."""
    return [bib for bib, task in by_bib(exercise, bibs).items() if not task.is_left_out]


def plain(exercise: Exercise) -> Exercise:
    """Return an exercise as it is written for those without an own task."""
    return exercise.model_copy(update={"scaled": ()}) if exercise.scaled else exercise


def each_task(exercise: Exercise) -> Iterator[tuple[Exercise, tuple[int, ...]]]:
    """Yield an exercise as it is written, for no bibs, then each own task and whom it is for."""
    yield plain(exercise), ()
    for own in exercise.scaled:
        yield with_own(exercise, own), own.bibs


def every_task(plan: Plan) -> Iterator[PlacedTask]:
    """Yield each task of a plan, its place before it, and the bibs that an own task is for."""
    for b, block in enumerate(plan.blocks):
        for e, exercise in enumerate(block.exercises):
            for n, (task, bibs) in enumerate(each_task(exercise)):
                own = ("scaled", n - 1) if n else ()
                yield ("block", b, "exercise", e, *own), task, bibs


def everybody(plan: Plan) -> tuple[int, ...]:
    """Return every bib of a class; without groups, each box has its station's number."""
    bibs = tuple(bib for group in plan.groups for bib in group.bibs)
    return bibs or tuple(range(1, plan.boxes + 1))


def others_than_own(plan: Plan, exercise: Exercise) -> bool:
    """Return whether an exercise is for anybody as it is written, without an own task."""
    own = {bib for scaled in exercise.scaled for bib in scaled.bibs}
    return not own.issuperset(everybody(plan))


def bibs_words(bibs: Iterable[int]) -> str:
    """Return bibs as people read them: ``bib 8``, ``bibs 4, 7 to 11``."""
    runs: list[list[int]] = []
    for bib in sorted(bibs):
        if runs and bib == runs[-1][-1] + 1:
            runs[-1].append(bib)
        else:
            runs.append([bib])
    parts: list[str] = []
    for run in runs:
        parts += [f"{run[0]} to {run[-1]}"] if len(run) >= RUN_LEAST else map(str, run)
    count = sum(map(len, runs))
    return f"{'bib' if count == 1 else 'bibs'} {', '.join(parts)}"


def own_list(own: Iterable[Own[str]]) -> str:
    """Return own tasks one after another: ``bib 8: Knee push-up, 8 reps; bib 9: Plank, hold``."""
    return "; ".join(f"{bibs_words(o.bibs)}: {o.what}" for o in own)
