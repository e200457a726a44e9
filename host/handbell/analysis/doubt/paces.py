"""Everybody's paces of one class beside their own of the last ones, and what the day was like."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import log
from statistics import median

from handbell.base.robust import spread
from handbell_core import timeline as t

from ..past.history import Attended, PastClass, classes_of

# Our own, no source.
CLASSES_LEAST = 3
CLASSES_MOST = 4  # more, and those who gain steadily would seem to jump
OTHERS_LEAST = 3  # to tell the day by

Task = tuple[int, str, int, int, int, int]  # its block first


@dataclass(frozen=True)
class Beside:
    """Somebody's paces, as logarithms: ``now`` and ``usual`` by task, of the tasks in both.

    ``before`` are their classes before, each as the middle of how far it was from the usual;
    ``noise`` is how far single tasks are from it.
    """

    who: Attended
    now: Mapping[Task, float]
    usual: Mapping[Task, float]
    before: tuple[float, ...]
    noise: float

    @property
    def middle(self) -> float:
        """How far today is from the usual; 0 is as always, above it is quicker."""
        return median(self.now[task] - self.usual[task] for task in self.now)


def beside_own(now: PastClass, before: Sequence[PastClass]) -> list[Beside]:
    """Return everybody there who did the same in CLASSES_LEAST of their last classes or more."""
    found = []
    for who in now.people:
        if not who.there:
            continue
        last = [then for _, then in classes_of(before, who.person.key)][-CLASSES_MOST:]
        if len(last) >= CLASSES_LEAST:
            one = _beside(who, [_paces(then) for then in last])
            found += [one] if one.now else []
    return found


def day_of_others(some: Sequence[Beside], one: Beside) -> float:
    """Return how far the others are from their usual today; 0 where there are too few."""
    others = [other.middle for other in some if other.who.bib != one.who.bib]
    return median(others) if len(others) >= OTHERS_LEAST else 0.0


def _beside(who: Attended, then: Sequence[Mapping[Task, float]]) -> Beside:
    now = _paces(who)
    usual = {
        task: median(old)
        for task in now
        if len(old := [paces[task] for paces in then if task in paces]) >= CLASSES_LEAST
    }
    off = [[paces[task] - usual[task] for task in usual if task in paces] for paces in then]
    every = [value for some in off for value in some]
    return Beside(
        who,
        {task: now[task] for task in usual},
        usual,
        tuple(median(some) for some in off if some),
        spread(every) if every else 0.0,
    )


def _paces(who: Attended) -> dict[Task, float]:
    """Return the middle rate of each task over its rounds."""
    by_task: dict[Task, list[float]] = {}
    for e in who.efforts:
        kept = e.ask == t.ASK_HOLD and e.drop_ms is None  # to its end: that has no measure
        if e.rate and not kept:
            task = e.block, e.name, e.ask, e.tap, e.goal, e.end_ms - e.start_ms
            by_task.setdefault(task, []).append(e.rate)
    return {task: log(median(rates)) for task, rates in by_task.items()}
