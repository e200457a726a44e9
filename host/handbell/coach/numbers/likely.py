"""What the library makes of one window: likely reps, and what is left once a target is made."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from handbell.compile.tasks import asked
from handbell_core.timeline import ASK_TARGET

if TYPE_CHECKING:
    from handbell.coach.library.entry import Entry
    from handbell.coach.library.shelf import Library

    from .efforts import Effort


@dataclass(frozen=True)
class Range:
    """From the least to the most that is likely."""

    least: float = 0
    most: float = 0

    def __add__(self, other: Range) -> Range:
        return Range(self.least + other.least, self.most + other.most)


def times(some: Range, count: int) -> Range:
    """Return so many times a range."""
    return Range(some.least * count, some.most * count)


def likely_reps(reps_30s: tuple[int, int], ms: int, target: int | None) -> Range:
    """Return the reps that are likely in a window, no more than a target."""
    least, most = ((reps * ms + 15_000) // 30_000 for reps in reps_30s)
    return Range(least, most) if target is None else Range(min(least, target), min(most, target))


def earned(reps_30s: tuple[int, int], ms: int, target: int) -> Range:
    """Return how much of a window, in ms, is likely left once its target is made."""
    least, most = (max(0, ms - target * 30_000 // reps) for reps in reps_30s)
    return Range(least, most)


def left_ms_of(effort: Effort, library: Library) -> int:
    """Return what is likely left of a window with a target, in whole seconds: the middle of it."""
    exercise = effort.exercise
    entry = library.find(exercise.name) if exercise and not exercise.parts else None
    if exercise is None or entry is None or entry.reps_30s is None:
        return 0
    ask, goal = asked(exercise, effort.round)
    if ask != ASK_TARGET:
        return 0
    left = earned(entry.reps_30s, effort.duration_ms, goal)
    return round((left.least + left.most) / 2000) * 1000


def above(entry: Entry, ms: int, target: int) -> bool:
    """Return whether a target is more than the library thinks sensible in its window."""
    return entry.reps_30s is not None and target * 30_000 > entry.reps_30s[1] * ms
