"""A jump from somebody's own history: a sign that another person wore the bib."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log
from statistics import median

from handbell.base.robust import spread
from handbell_core import timeline as t

from .history import Attended, PastClass, classes_of

# Our own, no source: nobody gains or loses a third in everything within a week.
CLASSES_LEAST = 3
CLASSES_MOST = 4  # more, and those who gain steadily would seem to jump
EXERCISES_LEAST = 3
JUMP = 1.35
SPREADS = 4.0  # of the own classes, so that those who differ from week to week don't seem to jump
SPREAD_LEAST = 0.04

Task = tuple[str, int, int, int, int]


@dataclass(frozen=True)
class Jump:
    """A bib whose numbers left their own history; two when they look exchanged."""

    bibs: tuple[int, ...]
    ratio: float
    evidence: str


def other_wearers(now: PastClass, before: Sequence[PastClass]) -> list[Jump]:
    """Return who jumped, compared with the last classes before."""
    found = []
    for who in now.people:
        if not who.there:
            continue
        last = [then for _, then in classes_of(before, who.person.key)][-CLASSES_MOST:]
        ratios = _ratios(who, last)
        if len(last) < CLASSES_LEAST or len(ratios) < EXERCISES_LEAST:
            continue
        middle = median(ratios)
        same_way = sum((r > 1) == (middle > 1) for r in ratios)
        if same_way < 0.8 * len(ratios) or max(middle, 1 / middle) < JUMP:
            continue
        own = [median(some) for one in last if (some := _ratios(one, last))]
        if abs(log(middle)) >= SPREADS * max(spread(map(log, own)), SPREAD_LEAST):
            words = (
                f"in {len(ratios)} exercises the pace is {middle:.2f} times the own median of the "
                f"last {len(last)} classes; was the bib worn by somebody else?"
            )
            found.append(Jump((who.bib,), middle, words))
    return found


def _ratios(who: Attended, last: Sequence[Attended]) -> list[float]:
    """Return today's pace over the own median, for each task done before."""
    now = _paces(who)
    then = [_paces(one) for one in last]
    found = []
    for task, pace in now.items():
        old = [paces[task] for paces in then if task in paces]
        if len(old) >= CLASSES_LEAST:
            found.append(pace / median(old))
    return found


def _paces(who: Attended) -> dict[Task, float]:
    """Return the median rate of each task over its rounds."""
    by_task: dict[Task, list[float]] = {}
    for e in who.efforts:
        kept = e.ask == t.ASK_HOLD and e.drop_ms is None  # to its end: that has no measure
        if e.rate and not kept:
            task = e.name, e.ask, e.tap, e.goal, e.end_ms - e.start_ms
            by_task.setdefault(task, []).append(e.rate)
    return {task: median(rates) for task, rates in by_task.items()}
