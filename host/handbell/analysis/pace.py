"""Pace: how the reps of one window follow each other, as far as its taps can tell.

``each`` gives the gap of every rep, ``every`` only the mean of n reps, ``finish``, ``tally`` and
``drop`` none at all: then there is no pace.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from handbell.store.efforts import Effort
from handbell_core import timeline as t

from .robust import SLOPE_LEAST, Slope, theil_sen

PACE_LEAST = 3  # taps: two gaps, so that a best and a worst differ
DRIFT_LEAST = SLOPE_LEAST + 1  # taps


@dataclass(frozen=True)
class Pace:
    """How reps follow each other in one window. Gaps are ms for one rep.

    With ``every`` above 1 a gap is the mean of that many reps, so best and worst are of those.
    ``drift`` is in percent of the median gap from the first tap to the last: above 0 they slow
    down; None for fewer than DRIFT_LEAST taps.
    """

    taps: int
    every: int
    median_gap_ms: float
    best_gap_ms: float
    worst_gap_ms: float
    drift: Slope | None

    @property
    def cadence(self) -> float:
        """Reps a minute, by the median gap."""
        return 60_000 / self.median_gap_ms


def pace_of(effort: Effort, times_ms: Sequence[int]) -> Pace | None:
    """Return the pace of an effort from the ``class_ms`` of its counted taps, in order.

    None where the way of tapping tells no gaps, or there are fewer than PACE_LEAST taps. The time
    to the first tap is no gap: it holds the reaction to the bell. Nor is the last one of a target
    that ``every`` does not divide: it stands for fewer reps.
    """
    if effort.tap not in (t.TAP_EACH, t.TAP_EVERY):
        return None
    if effort.ask == t.ASK_TARGET and effort.made and effort.goal % effort.every:
        times_ms = times_ms[:-1]
    gaps = [(b - a) / effort.every for a, b in pairwise(times_ms)]
    if len(times_ms) < PACE_LEAST or min(gaps) <= 0:
        return None
    middle = median(gaps)
    return Pace(
        taps=len(times_ms),
        every=effort.every,
        median_gap_ms=middle,
        best_gap_ms=min(gaps),
        worst_gap_ms=max(gaps),
        drift=_drift(times_ms, gaps, middle),
    )


def _drift(times_ms: Sequence[int], gaps: Sequence[float], middle: float) -> Slope | None:
    """Return the robust slope of the gaps over the window, as a share of the median gap."""
    if len(times_ms) < DRIFT_LEAST:
        return None
    middles = [(a + b) / 2 for a, b in pairwise(times_ms)]
    found = theil_sen(middles, gaps)
    if found is None:
        return None
    scale = 100 * (times_ms[-1] - times_ms[0]) / middle
    return Slope(found.count, found.slope * scale, found.low * scale, found.high * scale)
