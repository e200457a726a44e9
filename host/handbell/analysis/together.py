"""Two bibs of one box whose taps go together: one person tapping for two."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from statistics import mean, median, stdev

from handbell.store.results.effort import Effort
from handbell_core import timeline as t

# Our own, no source. Two people who do ten reps side by side drift apart by more than this; one
# who presses two buttons does not.
TAPS_LEAST = 6
NEAR_MS = 400
SPREAD_MS = 80
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

    All but one of the taps must have a partner nearby, in order, and the lags must vary little.
    """
    if min(len(one), len(other)) < TAPS_LEAST or abs(len(one) - len(other)) > 1:
        return None
    lags = []
    for at in one:
        nearest = min(other, key=lambda then: abs(then - at))
        if abs(nearest - at) <= NEAR_MS:
            lags.append(nearest - at)
    if len(lags) < max(len(one), len(other)) - 1 or stdev(lags) > SPREAD_MS:
        return None
    return lags


def _pair(one: int, other: int, station: int, lags: Sequence[Sequence[int]]) -> Pair:
    every = [lag for some in lags for lag in some]
    spread = mean(stdev(some) for some in lags)
    return Pair(one, other, station, len(lags), len(every), abs(median(every)), spread)
