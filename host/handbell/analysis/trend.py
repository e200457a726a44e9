"""Trends over classes, and one class beside the athlete's own last ones and the group's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from handbell.base.robust import SLOPE_LEAST, Quartiles, Slope, quartiles, theil_sen

OWN_MOST = 5  # of the last classes, so that what was months ago does not weigh on today
OWN_LEAST = 2
WEEK_DAYS = 7.0


@dataclass(frozen=True)
class Trend:
    """A score over time. ``weekly`` is its slope a week, None with a reason in ``why_not``.

    ``change_percent`` is the slope over the whole time as a share of the median score.
    """

    count: int
    weekly: Slope | None
    change_percent: float | None
    why_not: str = ""


@dataclass(frozen=True)
class Compared:
    """One value beside the median of the athlete's own last classes, and the group's middle.

    Each side is None where there is too little to compare with. ``group`` holds everybody but the
    athlete.
    """

    value: float
    own_median: float | None
    own_count: int
    group: Quartiles | None


def trend_of(days: Sequence[float], scores: Sequence[float]) -> Trend:
    """Return the trend of scores over days (any origin): Theil-Sen with its 95 % interval.

    There is none for fewer than SLOPE_LEAST different days.
    """
    few = len(set(days))
    if few < SLOPE_LEAST:
        why = f"{few} class{'es' if few != 1 else ''}, a trend needs {SLOPE_LEAST}"
        return Trend(len(scores), None, None, why)
    found = theil_sen(days, scores)
    weekly = Slope(
        found.count, found.slope * WEEK_DAYS, found.low * WEEK_DAYS, found.high * WEEK_DAYS
    )
    middle = median(scores)
    over = found.slope * (max(days) - min(days))
    return Trend(len(scores), weekly, 100 * over / middle if middle else None)


def compared(value: float, own_before: Sequence[float], others: Sequence[float]) -> Compared:
    """Return a value beside the own values before it (oldest first) and the others' of today."""
    last = own_before[-OWN_MOST:]
    enough = len(last) >= OWN_LEAST
    return Compared(value, median(last) if enough else None, len(last), quartiles(others))
