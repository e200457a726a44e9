"""Robust figures of few numbers: median, quartiles, a slope with its interval."""

from __future__ import annotations

import functools
import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist, median

QUARTILES_LEAST = 4  # of three values a quartile is one of them or half a guess
# Of five points all ten slopes agree by chance once in 60, of four once in 12: below five there
# is no 95 % interval (computed: 2 / n!).
SLOPE_LEAST = 5
SURE = 0.95


@dataclass(frozen=True)
class Quartiles:
    """The middle of some values; ``low`` and ``high`` are None for fewer than QUARTILES_LEAST."""

    count: int
    median: float
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Slope:
    """A Theil-Sen slope with its interval; y's unit for each of x's."""

    count: int
    slope: float
    low: float
    high: float

    @property
    def sure(self) -> bool:
        """Whether the interval leaves out no change at all."""
        return self.low > 0 or self.high < 0


def quartiles(values: Sequence[float]) -> Quartiles | None:
    """Return median and quartiles, None of no values.

    Quartiles lie linearly between neighbours at (n - 1) p, as R's type 7 and numpy's default
    (Hyndman & Fan 1996, Am Stat 50:361-365; memory).
    """
    if not values:
        return None
    ordered = sorted(values)
    if len(ordered) < QUARTILES_LEAST:
        return Quartiles(len(ordered), median(ordered), None, None)
    low, high = (_between(ordered, (len(ordered) - 1) * p) for p in (0.25, 0.75))
    return Quartiles(len(ordered), median(ordered), low, high)


def _between(ordered: Sequence[float], at: float) -> float:
    below = math.floor(at)
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (ordered[above] - ordered[below]) * (at - below)


def spread(values: Iterable[float]) -> float:
    """Return the median distance from the median, scaled by 1.4826 to a normal's deviation."""
    values = list(values)
    middle = median(values)
    return 1.4826 * median(abs(v - middle) for v in values)


def theil_sen(x: Sequence[float], y: Sequence[float], sure: float = SURE) -> Slope:
    """Return the median of all pairwise slopes, with Sen's interval by Kendall's variance.

    Sen 1968, J Am Stat Assoc 63:1379-1389 (memory; checked against scipy.stats.theilslopes).
    No assumption of normal errors; a third of the points may be wild. Raises ValueError when no
    two of the x differ; below SLOPE_LEAST different x the interval says nothing.
    """
    points = list(zip(x, y, strict=True))
    slopes: list[float] = []
    for n, (a, b) in enumerate(points, 1):
        slopes += [(d - b) / (c - a) for c, d in points[n:] if c != a]
    if not slopes:
        raise ValueError("no two x differ")
    slopes.sort()
    n, pairs = len(x), len(slopes)
    variance = _kendall(n) - sum(_kendall(t) for of in (x, y) for t in Counter(of).values())
    reach = NormalDist().inv_cdf((1 + sure) / 2) * math.sqrt(max(variance, 0.0) / 18)
    low = max(round((pairs - reach) / 2) - 1, 0)
    high = min(round((pairs + reach) / 2), pairs - 1)
    return Slope(n, median(slopes), slopes[low], slopes[high])


def chance(x: Sequence[float], y: Sequence[float]) -> float:
    """Return how likely chance alone makes y go along with x as much, either way.

    Kendall's test: exact where no two are alike, else by the normal distribution (checked
    against scipy.stats.kendalltau).
    """
    n, points = len(x), list(zip(x, y, strict=True))
    s = 0
    for k, (a, b) in enumerate(points, 1):
        s += sum(((c > a) - (c < a)) * ((d > b) - (d < b)) for c, d in points[k:])
    alike = [list(Counter(of).values()) for of in (x, y)]
    if len(alike[0]) == len(alike[1]) == n:
        counts = _orders(n)
        swaps = (n * (n - 1) // 2 - abs(s)) // 2
        return min(1.0, 2 * sum(counts[: swaps + 1]) / sum(counts))
    variance = (_kendall(n) - sum(_kendall(t) for some in alike for t in some)) / 18
    twos = math.prod(sum(t * (t - 1) for t in some) for some in alike)
    threes = math.prod(sum(t * (t - 1) * (t - 2) for t in some) for some in alike)
    variance += twos / (2 * n * (n - 1)) if n > 1 else 0.0
    variance += threes / (9 * n * (n - 1) * (n - 2)) if n > 2 else 0.0
    return 2 * NormalDist().cdf(-abs(s) / math.sqrt(variance)) if variance > 0 else 1.0


def false_discovery(chances: Sequence[float]) -> list[float]:
    """Return each of many chances allowing for all the others, in their order.

    Of those up to a share q, at most that share is there by chance: Benjamini & Hochberg 1995,
    J R Stat Soc B 57:289-300 (memory; checked against scipy.stats.false_discovery_control).
    """
    found = [1.0] * len(chances)
    least = 1.0
    order = sorted(range(len(chances)), key=lambda n: chances[n])
    for rank in range(len(order), 0, -1):
        least = min(least, chances[order[rank - 1]] * len(order) / rank)
        found[order[rank - 1]] = least
    return found


@functools.lru_cache(maxsize=64)
def _orders(n: int) -> list[int]:
    """Return how many orders of n things have 0, 1, 2 ... pairs the wrong way round."""
    counts = [1]
    for size in range(2, n + 1):
        longer = [0] * (len(counts) + size - 1)
        for swaps, count in enumerate(counts):
            for more in range(size):
                longer[swaps + more] += count
        counts = longer
    return counts


def _kendall(n: int) -> int:
    return n * (n - 1) * (2 * n + 5)
