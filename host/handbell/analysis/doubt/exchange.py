"""Two bibs that two people exchanged, for a class or a block: each looks like the other.

Who is alike can't be told apart: what two differ by must stand out of what each differs by from
week to week.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import sqrt

from .paces import Beside, Task, day_of_others

# Our own, no source.
TASKS_LEAST = 2
APART = 3.5  # how many times their noise two must differ
NOISE_LEAST = 0.05
ALIKE = 0.7, 1.4  # how far each came to where the other usually is; 1 is all of it
WHOLE = 0  # in place of a block


@dataclass(frozen=True)
class Exchange:
    """Two bibs; ``block`` is WHOLE for all of the class. ``fit`` is how far each is the other."""

    bibs: tuple[int, int]
    block: int
    fit: float


def exchanges(some: Sequence[Beside]) -> list[Exchange]:
    """Return the pairs that look exchanged, each bib in one, those that fit best first."""
    days = {one.who.bib: day_of_others(some, one) for one in some}
    found = [
        pair
        for one, other in combinations(some, 2)
        for pair in _pairs(one, other, days[one.who.bib], days[other.who.bib])
    ]
    found.sort(key=lambda pair: (pair.block != WHOLE, abs(1 - pair.fit), pair.bibs))
    taken: set[int] = set()
    kept = []
    for pair in found:
        if not taken & set(pair.bibs):
            taken |= set(pair.bibs)
            kept.append(pair)
    return kept


def _pairs(one: Beside, other: Beside, day: float, other_day: float) -> Iterator[Exchange]:
    common = [task for task in one.now if task in other.now]
    blocks = sorted({task[0] for task in common})
    for block in (WHOLE, *(blocks if len(blocks) > 1 else ())):
        tasks = [task for task in common if block in (WHOLE, task[0])]
        fit = _fit(one, other, day, other_day, tasks)
        if fit is not None:
            yield Exchange((one.who.bib, other.who.bib), block, fit)


def _fit(
    one: Beside, other: Beside, day: float, other_day: float, tasks: Sequence[Task]
) -> float | None:
    """Return how far each came to the other's usual, None where that is not both all of it."""
    between = [other.usual[task] - one.usual[task] for task in tasks]
    size = sum(d * d for d in between)
    noise = max(one.noise, other.noise, NOISE_LEAST)
    if len(tasks) < TASKS_LEAST or sqrt(size / len(tasks)) < APART * noise:
        return None
    mine = [one.now[task] - one.usual[task] - day for task in tasks]
    yours = [other.usual[task] - other.now[task] + other_day for task in tasks]
    fits = [sum(d * b for d, b in zip(off, between, strict=True)) / size for off in (mine, yours)]
    if not all(ALIKE[0] <= fit <= ALIKE[1] for fit in fits):
        return None
    return sum(fits) / 2
