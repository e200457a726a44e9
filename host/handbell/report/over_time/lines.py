"""Charts over time, as SVG drawn for the width of a phone: dots class by class, bars by week.

Shapes say all that colours say: a dot is full or hollow, a trend is drawn through or dashed, a
week without a figure has a sign of its own.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median

from handbell.analysis.past.load import week_of
from handbell.analysis.trend import WEEK_DAYS
from handbell.base.robust import Slope
from handbell.base.times import day_of
from handbell.report import svg

_At = Callable[[date, float], svg.Point]

WIDTH, LEFT, RIGHT, TOP = 340, 34, 8, 12
DOTS_HIGH, BARS_HIGH, FOOT = 118, 92, 20
ROOM = 0.25  # of the median: the least that is shown above and below it, so that noise is small
LABELS_MOST = 6


@dataclass(frozen=True)
class Dot:
    """One class: ``full`` False is drawn hollow."""

    day: date
    value: float
    full: bool = True


@dataclass(frozen=True)
class Bar:
    """One week from ``first`` on; ``value`` None with the ``sign`` that stands in its place."""

    first: date
    value: float | None
    sign: str = "–"


@dataclass(frozen=True)
class Visit:
    """A class that was planned for somebody; ``came`` False is drawn hollow."""

    day: date
    came: bool


def dots(
    values: Sequence[Dot],
    alike: Sequence[date],
    trend: tuple[Slope | None, bool],
    key: str,
    title: str,
    said: str,
) -> str:
    """Draw values over days, with the trend of those of ``alike`` days where there is one.

    The trend comes with whether it is clear.
    """
    middle = median(d.value for d in values)
    low = max(0.0, min(middle * (1 - ROOM), *(d.value for d in values)))
    levels = _levels(low, max(middle * (1 + ROOM), *(d.value for d in values)))
    low, high = levels[0], levels[-1]
    first, last = min(d.day for d in values), max(d.day for d in values)
    days = max((last - first).days, 1)
    base = TOP + DOTS_HIGH

    def at(day: date, value: float) -> svg.Point:
        along = (WIDTH - LEFT - RIGHT - 16) * (day - first).days / days
        up = DOTS_HIGH * (min(max(value, low), high) - low) / (high - low)
        return LEFT + 8 + along, base - up

    marks = [mark for value in levels for mark in _level(at(first, value)[1], value)]
    marks += [_below(at(day, low)[0], base, day) for day in _label_days(first, last)]
    weekly, clear = trend
    if weekly is not None:
        marks += _trend(weekly, clear, [d for d in values if d.day in alike], at)
    marks += [svg.dot(_look(dot.full), at(dot.day, dot.value), 4) for dot in values]
    return svg.picture("over-time", (WIDTH, base + FOOT), key, title, said, marks)


def bars(weeks: Sequence[Bar], key: str, title: str, said: str) -> str:
    """Draw a bar for each week, all from 0."""
    levels = _levels(0.0, max(w.value or 0.0 for w in weeks))
    scale = BARS_HIGH / levels[-1]
    base = TOP + BARS_HIGH
    step = (WIDTH - LEFT - RIGHT) / len(weeks)
    wide = min(step * 0.66, 26)
    marks = [mark for value in levels for mark in _level(base - scale * value, value)]
    every = math.ceil(len(weeks) / LABELS_MOST)
    for n, week in enumerate(weeks):
        middle = LEFT + step * (n + 0.5)
        if n % every == 0:
            marks.append(_below(middle, base, week.first))
        if week.value is None:
            marks.append(svg.text("ink", (middle, base - 4), week.sign))
        else:
            high = max(scale * week.value, 0.8)
            marks.append(svg.bar("bar", (middle - wide / 2, base - high), wide, high))
    return svg.picture("over-time", (WIDTH, base + FOOT), key, title, said, marks)


def visits(values: Sequence[Visit], key: str) -> str:
    """Draw a column a week, a dot for each class planned in it, the first at the bottom."""
    by_week: dict[date, list[Visit]] = {}
    for visit in values:
        by_week.setdefault(week_of(visit.day), []).append(visit)
    first, last = min(by_week), max(by_week)
    count = (last - first).days // 7 + 1
    step = min((WIDTH - 2 * RIGHT) / count, 26.0)
    r = min(step * 0.36, 5.0)
    base = TOP + 2.7 * r * max(map(len, by_week.values()))
    marks = []
    every = math.ceil(count / max(1, int(count * step / 52)))
    for n in range(count):
        monday = first + timedelta(days=7 * n)
        x = RIGHT + step * (n + 0.5)
        if n % every == 0:
            marks.append(svg.text("soft", (max(x, 18), base + 15), day_of(monday)))
        for k, visit in enumerate(by_week.get(monday, ())):
            marks.append(svg.dot(_look(visit.came), (x, base - 2.7 * r * (k + 0.5)), r))
    came = sum(v.came for v in values)
    said = f"Came to {came} of {len(values)}. " + "; ".join(
        f"week of {day_of(monday)}: {sum(v.came for v in some)} of {len(some)}"
        for monday, some in sorted(by_week.items())
    )
    title = "Classes you came to"
    return svg.picture("over-time", (WIDTH, base + FOOT), key, title, said, marks)


def _trend(trend: Slope, clear: bool, of: Sequence[Dot], at: _At) -> list[str]:
    """Draw the trend through the middle of its values, and where else it may lie."""
    first, last = min(d.day for d in of), max(d.day for d in of)
    centre = first + timedelta(days=median((d.day - first).days for d in of))
    middle = median(d.value for d in of)

    def ends(slope: float) -> list[svg.Point]:
        return [at(d, middle + slope * (d - centre).days / WEEK_DAYS) for d in (first, last)]

    line = svg.line("trend" if clear else "trend unsure", *ends(trend.slope))
    low, high = ends(trend.low), ends(trend.high)
    crossed = at(centre, middle)
    return [svg.area("band", low[0], crossed, low[1], high[1], crossed, high[0]), line]


def _look(full: bool) -> str:
    return "dot" if full else "dot hollow"


def _levels(low: float, high: float) -> list[float]:
    """Return two to five round numbers, the first at most ``low``, the last at least ``high``."""
    raw = (high - low) / 3 or 1.0
    size = 10.0 ** math.floor(math.log10(raw))
    step = next(size * k for k in (1, 2, 5, 10) if size * k >= raw)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [step * n for n in range(first, max(last, first + 1) + 1)]


def _label_days(first: date, last: date) -> list[date]:
    """Return the days to write below: both ends and what fits between."""
    days = (last - first).days
    count = 1 if days == 0 else 2 if days < 21 else 3 if days < 42 else 4
    return [first + timedelta(days=round(days * n / max(count - 1, 1))) for n in range(count)]


def _level(y: float, value: float) -> list[str]:
    words = f"{value:.0f}" if value == int(value) else f"{value:g}"
    return [
        svg.line("level", (LEFT, y), (WIDTH - RIGHT, y)),
        svg.text("soft", (LEFT - 5, y + 4), words, "end"),
    ]


def _below(x: float, base: float, day: date) -> str:
    inside = min(max(x, LEFT + 14), WIDTH - RIGHT - 14)
    return svg.text("soft", (inside, base + 15), day_of(day))
