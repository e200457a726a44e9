"""Two bibs of one box whose taps go together: one person tapping for two, at whatever lag."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from statistics import mean, median, pvariance, stdev

from handbell.store.results.effort import Effort
from handbell_core import timeline as t

# Our own, no source. Two people who do ten reps side by side drift apart by more than this, and
# where they don't, the gaps of the one are long where the other's are by chance alone.
TAPS_LEAST = 6
SPREAD_MS = 110
APART = 0.25  # of how the gaps differ from each other, against how they vary by themselves
MISSING_MOST = 2
WINDOWS_LEAST = 2


@dataclass(frozen=True)
class Pair:
    """Two bibs at a station; ``lag_ms`` is the median time between their taps."""

    one: int
    other: int
    station: int
    windows: int
    taps: int
    lag_ms: float
    spread_ms: float


def together(efforts: Iterable[Effort], times_of: Callable[[Effort], Sequence[int]]) -> list[Pair]:
    """Return the pairs that tapped as one in WINDOWS_LEAST windows or more."""
    by_window: dict[tuple[int, int], list[Effort]] = {}
    for effort in efforts:
        if effort.tap in (t.TAP_EACH, t.TAP_EVERY):
            by_window.setdefault((effort.run, effort.window), []).append(effort)
    found: dict[tuple[int, int, int], list[list[int]]] = {}
    for some in by_window.values():
        for one, other in combinations(some, 2):
            lags = lags_of(times_of(one), times_of(other))
            if lags is not None:
                found.setdefault((one.bib, other.bib, one.station), []).append(lags)
    return [_pair(*key, lags) for key, lags in sorted(found.items()) if len(lags) >= WINDOWS_LEAST]


def lags_of(one: Sequence[int], other: Sequence[int]) -> list[int] | None:
    """Return how much later each tap of the other came, None when they don't go together.

    They are put beside each other in their order; at either end some may lack a partner. The lags
    must vary little, and much less than the gaps between the taps would have it.
    """
    if abs(len(one) - len(other)) > MISSING_MOST:
        return None
    for shift in (0, 1, -1):
        pairs = list(zip(one[max(-shift, 0) :], other[max(shift, 0) :], strict=False))
        if len(pairs) >= max(TAPS_LEAST, max(len(one), len(other)) - MISSING_MOST):
            lags = [there - here for here, there in pairs]
            if stdev(lags) <= SPREAD_MS and _as_one(pairs):
                return lags
    return None


def _as_one(pairs: Sequence[tuple[int, int]]) -> bool:
    """Whether the gaps are long and short together; where both get slower, that is no sign."""
    gaps = [(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(pairs)]
    mine, yours = (_level([gap[n] for gap in gaps]) for n in (0, 1))
    differ = [a - b for a, b in zip(mine, yours, strict=True)]
    return pvariance(differ) <= APART * (pvariance(mine) + pvariance(yours))


def _level(gaps: Sequence[float]) -> list[float]:
    """Return gaps without their straight line."""
    places = [n - (len(gaps) - 1) / 2 for n in range(len(gaps))]
    middle = mean(gaps)
    slope = sum(p * g for p, g in zip(places, gaps, strict=True)) / sum(p * p for p in places)
    return [g - middle - slope * p for p, g in zip(places, gaps, strict=True)]


def _pair(one: int, other: int, station: int, lags: Sequence[Sequence[int]]) -> Pair:
    every = [lag for some in lags for lag in some]
    spread = mean(stdev(some) for some in lags)
    return Pair(one, other, station, len(lags), len(every), abs(median(every)), spread)
