"""A list gone through again and again: how long once takes, and how its time goes to the parts.

By the library's reps for 30 s, so it is an estimate. A part that the library doesn't know, or that
says no number, is taken to last as long as the others do on average.
"""

from __future__ import annotations

from statistics import mean
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

    from handbell.plan.model import Exercise
    from handbell.plan.parts import Part

    from .entry import Entry
    from .shelf import Library


class Timed(NamedTuple):
    """A part, what the library says of it, and how long it takes once, from fast to slow."""

    part: Part
    entry: Entry | None
    fast_ms: float
    slow_ms: float


def timed(exercise: Exercise, library: Library) -> list[Timed] | None:
    """Return an exercise's parts with their times; None when nothing of it is known."""
    found = [(part, library.find(part.name)) for part in exercise.parts]
    times = [_times(part, entry) for part, entry in found]
    known = [both for both in times if both is not None]
    if not known:
        return None
    usual = mean(fast for fast, _ in known), mean(slow for _, slow in known)
    return [
        Timed(part, entry, *(both or usual))
        for (part, entry), both in zip(found, times, strict=True)
    ]


def shared_out(ms: int, parts: Sequence[Timed]) -> list[int]:
    """Return a window's time by part, in whole ms that add up to it."""
    weights = [p.fast_ms + p.slow_ms for p in parts]
    ends = [round(ms * sum(weights[: n + 1]) / sum(weights)) for n in range(len(weights))]
    return [end - begin for begin, end in zip([0, *ends], ends, strict=False)]


def rounds_in(ms: int, parts: Sequence[Timed]) -> tuple[float, float]:
    """Return how often the list is likely gone through in a time, from slow to fast."""
    return ms / sum(p.slow_ms for p in parts), ms / sum(p.fast_ms for p in parts)


def _times(part: Part, entry: Entry | None) -> tuple[float, float] | None:
    if part.hold_ms:
        return part.hold_ms, part.hold_ms
    if part.reps is None or entry is None or entry.reps_30s is None:
        return None
    least, most = entry.reps_30s
    return part.reps * 30_000 / most, part.reps * 30_000 / least
