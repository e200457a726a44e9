"""How hard it was, added up: a session's load, a week's, its monotony and strain.

All of it rests on ratings that people gave themselves; a class that somebody did not rate has no
load, and a week with such a class has none either, rather than one that is too low.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import Enum
from statistics import mean, pstdev, stdev

WEEK = 7
DAYS_LEAST = 2  # with one day of load the monotony is 0.378 (or 0.408) whatever the load was


class Deviation(Enum):
    """Which standard deviation a monotony is made with; Foster 1998 does not say."""

    SAMPLE = "sample"  # divided by n - 1
    POPULATION = "population"  # divided by n


@dataclass(frozen=True)
class Week:
    """Seven days of load, from ``first`` on. ``why_not`` says why a figure is None.

    ``total`` is None when a class of the week has no rating. ``classes`` counts those attended.
    """

    first: date
    classes: int
    total: float | None
    monotony: float | None
    strain: float | None
    deviation: Deviation
    why_not: str = ""


@dataclass(frozen=True)
class Rated:
    """One attended class: ``rating`` 0 to 10, None for no answer."""

    day: date
    minutes: float
    rating: int | None


def session_load(rating: int | None, minutes: float) -> float | None:
    """Return rating x minutes: Foster et al. 2001, J Strength Cond Res 15(1):109-115.

    None without a rating. ``minutes`` is the whole session as the coach plans it, breaks included.
    """
    return None if rating is None else rating * minutes


def monotony(loads: Sequence[float], deviation: Deviation = Deviation.SAMPLE) -> float | None:
    """Return the mean daily load over its standard deviation (Foster 1998, MSSE 30(7):1164-1168).

    ``loads`` are those of consecutive days, 0 for a day off. None where it isn't defined: fewer
    than two days, or days all alike (their deviation is 0).
    """
    if len(loads) < 2 or min(loads) == max(loads):
        return None
    spread = stdev(loads) if deviation is Deviation.SAMPLE else pstdev(loads)
    return mean(loads) / spread


def strain(loads: Sequence[float], deviation: Deviation = Deviation.SAMPLE) -> float | None:
    """Return a week's load x its monotony (Foster 1998); None where that isn't defined."""
    found = monotony(loads, deviation)
    return None if found is None else sum(loads) * found


def week_of(day: date) -> date:
    """Return the Monday of a day's week (ISO 8601)."""
    return day - timedelta(days=day.weekday())


def weeks_of(classes: Iterable[Rated], deviation: Deviation = Deviation.SAMPLE) -> list[Week]:
    """Return every week from the first class to the last, those without a class included.

    Several classes of one day add up. The class load is all that is known: what people do
    elsewhere is not in it.
    """
    by_week: dict[date, list[Rated]] = {}
    for one in classes:
        by_week.setdefault(week_of(one.day), []).append(one)
    if not by_week:
        return []
    first, last = min(by_week), max(by_week)
    count = (last - first).days // WEEK + 1
    mondays = [first + timedelta(days=WEEK * n) for n in range(count)]
    return [_week(monday, by_week, deviation) for monday in mondays]


def _week(monday: date, by_week: Mapping[date, list[Rated]], deviation: Deviation) -> Week:
    classes = by_week.get(monday, [])
    unrated = sum(one.rating is None for one in classes)
    if unrated:
        why = f"{unrated} of {len(classes)} classes not rated"
        return Week(monday, len(classes), None, None, None, deviation, why)
    days = [0.0] * WEEK
    for one in classes:
        days[(one.day - monday).days] += session_load(one.rating, one.minutes) or 0.0
    trained = sum(load > 0 for load in days)
    if trained < DAYS_LEAST:
        why = "one day says nothing of monotony" if trained else "no load"
        return Week(monday, len(classes), sum(days), None, None, deviation, why)
    found, strained = monotony(days, deviation), strain(days, deviation)
    why = "" if found is not None else "every day alike"
    return Week(monday, len(classes), sum(days), found, strained, deviation, why)
