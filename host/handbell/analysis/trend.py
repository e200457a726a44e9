"""Trends over classes, which of many are more than chance, and one class beside others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from handbell.base.robust import (
    SLOPE_LEAST,
    Quartiles,
    Slope,
    chance,
    false_discovery,
    quartiles,
    theil_sen,
)

OWN_MOST = 5  # of the last classes, so that what was months ago does not weigh on today
OWN_LEAST = 2
WEEK_DAYS = 7.0
FALSE_SHARE = 0.05  # of the trends that are told, so many at most are there by chance


@dataclass(frozen=True)
class Trend:
    """A score over time. ``weekly`` is its slope a week, None with a reason in ``why_not``.

    ``change_percent`` is the slope over the whole time as a share of the median score;
    ``at_least``: some windows were not made, or kept to the end, and may hide more. ``chance`` is
    how likely it is where nothing changes.
    """

    count: int
    weekly: Slope | None
    change_percent: float | None
    why_not: str = ""
    chance: float = 1.0
    at_least: bool = False


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


def trend_of(days: Sequence[float], scores: Sequence[float], bounded: Sequence[bool] = ()) -> Trend:
    """Return the trend of scores over days (any origin): Theil-Sen with its 95 % interval.

    ``bounded`` scores are as far as their windows show: they can only hide a part of a change, so
    where there are some it is "at least". There is none for fewer than SLOPE_LEAST different
    days.
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
    return Trend(
        len(scores),
        weekly,
        100 * over / middle if middle else None,
        "",
        chance(days, scores),
        any(bounded),
    )


def direction_of(trend: Trend) -> int | None:
    """Return where a trend taken by itself goes: 1 up, -1 down, 0 no clear change, None unknown."""
    weekly = trend.weekly
    if weekly is None:
        return None
    if not weekly.sure or trend.chance > FALSE_SHARE or not weekly.slope:
        return 0
    return 1 if weekly.slope > 0 else -1


def directions(trends: Sequence[Trend]) -> list[int | None]:
    """Return where each of many trends goes that are told together, allowing for all of them.

    Of sixty trends of people in whom nothing changes three would be named by themselves.
    """
    known = [n for n, trend in enumerate(trends) if trend.weekly is not None]
    allowed = false_discovery([trends[n].chance for n in known])
    found = [direction_of(trend) for trend in trends]
    for n, share in zip(known, allowed, strict=True):
        if share > FALSE_SHARE:
            found[n] = 0
    return found


def compared(value: float, own_before: Sequence[float], others: Sequence[float]) -> Compared:
    """Return a value beside the own values before it (oldest first) and the others' of today."""
    last = own_before[-OWN_MOST:]
    enough = len(last) >= OWN_LEAST
    return Compared(value, median(last) if enough else None, len(last), quartiles(others))
