"""Charts over time, as SVG drawn for the width of a phone: dots class by class, bars by week.

Shapes say all that colours say: a dot is full or hollow, a trend is drawn through or dashed, a
week without a figure has a sign of its own.
"""

from __future__ import annotations

import html
import math
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median

from handbell.analysis.load import week_of
from handbell.analysis.trend import WEEK_DAYS, Trend
from handbell.base.robust import Slope
from handbell.base.times import day_of

_X = Callable[[date], float]
_Y = Callable[[float], float]

WIDTH, LEFT, RIGHT, TOP = 340, 34, 8, 12
DOTS_HIGH, BARS_HIGH, FOOT = 118, 92, 20
ROOM = (
    0.25  # of the median: the least that an axis shows above and below it, so that noise is small
)
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
    values: Sequence[Dot], alike: Sequence[date], trend: Trend, key: str, title: str, said: str
) -> str:
    """Draw values over days, with the trend of those of ``alike`` days where there is one."""
    middle = median(d.value for d in values)
    low = max(0.0, min(middle * (1 - ROOM), *(d.value for d in values)))
    high = max(middle * (1 + ROOM), *(d.value for d in values)) or 1.0
    steps = _steps(low, high)
    low, high = min(low, steps[0]), max(high, steps[-1])
    first, last = min(d.day for d in values), max(d.day for d in values)
    days = max((last - first).days, 1)

    def x(day: date) -> float:
        return LEFT + 8 + (WIDTH - LEFT - RIGHT - 16) * (day - first).days / days

    def y(value: float) -> float:
        return TOP + DOTS_HIGH * (high - min(max(value, low), high)) / (high - low or 1)

    parts = [_level(y(step), _plain(step)) for step in steps]
    parts += [_below(x(day), TOP + DOTS_HIGH, day) for day in _label_days(first, last)]
    if trend.weekly is not None:
        of = [d for d in values if d.day in alike]
        at = first + timedelta(days=median((d.day - first).days for d in of))
        ends = min(d.day for d in of), max(d.day for d in of)
        parts += _trend(trend.weekly, at, median(d.value for d in of), ends, x, y)
    for dot in values:
        look = "dot" if dot.full else "dot hollow"
        parts.append(
            f'<circle class="{look}" cx="{x(dot.day):.1f}" cy="{y(dot.value):.1f}" r="4"/>'
        )
    return _svg(parts, TOP + DOTS_HIGH + FOOT, key, title, said)


def bars(weeks: Sequence[Bar], key: str, title: str, said: str) -> str:
    """Draw a bar for each week, all from 0."""
    steps = _steps(0.0, max([w.value or 0.0 for w in weeks] + [1.0]))
    high = max(steps[-1], *(w.value or 0.0 for w in weeks))
    base = TOP + BARS_HIGH
    step = (WIDTH - LEFT - RIGHT) / len(weeks)
    parts = [_level(base - BARS_HIGH * value / high, _plain(value)) for value in steps]
    every = math.ceil(len(weeks) / LABELS_MOST)
    for n, week in enumerate(weeks):
        middle = LEFT + step * (n + 0.5)
        if n % every == 0:
            parts.append(_below(middle, base, week.first))
        if week.value is None:
            parts.append(_text(middle, base - 4, week.sign, "ink"))
            continue
        tall = max(BARS_HIGH * week.value / high, 0.8)
        wide = min(step * 0.66, 26)
        parts.append(
            f'<rect class="bar" x="{middle - wide / 2:.1f}" y="{base - tall:.1f}" '
            f'width="{wide:.1f}" height="{tall:.1f}"/>'
        )
    return _svg(parts, base + FOOT, key, title, said)


def visits(values: Sequence[Visit], key: str) -> str:
    """Draw a column a week, a dot for each class planned in it, the first at the bottom."""
    by_week: dict[date, list[Visit]] = {}
    for visit in values:
        by_week.setdefault(week_of(visit.day), []).append(visit)
    first, last = min(by_week), max(by_week)
    count = (last - first).days // 7 + 1
    step = min((WIDTH - 2 * RIGHT) / count, 26.0)
    r = min(step * 0.36, 5.0)
    tall = 2.7 * r * max(map(len, by_week.values()))
    parts = []
    every = math.ceil(count / max(1, int(count * step / 52)))
    for n in range(count):
        monday = first + timedelta(days=7 * n)
        x = RIGHT + step * (n + 0.5)
        if n % every == 0:
            parts.append(_text(max(x, 18), TOP + tall + 15, day_of(monday), "soft"))
        for k, visit in enumerate(by_week.get(monday, ())):
            y = TOP + tall - 2.7 * r * (k + 0.5)
            look = "dot" if visit.came else "dot hollow"
            parts.append(f'<circle class="{look}" cx="{x:.1f}" cy="{y:.1f}" r="{r:.1f}"/>')
    came = sum(v.came for v in values)
    said = f"Came to {came} of {len(values)}. " + "; ".join(
        f"week of {day_of(monday)}: {sum(v.came for v in some)} of {len(some)}"
        for monday, some in sorted(by_week.items())
    )
    return _svg(parts, TOP + tall + FOOT, key, "Classes you came to", said)


def _trend(
    trend: Slope, at: date, middle: float, ends: tuple[date, date], x: _X, y: _Y
) -> list[str]:
    """Draw the trend through the middle, and where else it may lie."""

    def points(slope: float) -> list[str]:
        return [
            f"{x(day):.1f},{y(middle + slope * (day - at).days / WEEK_DAYS):.1f}" for day in ends
        ]

    low, high = points(trend.low), points(trend.high)
    centre = f"{x(at):.1f},{y(middle):.1f}"
    band = " ".join([low[0], centre, low[1], high[1], centre, high[0]])
    line = points(trend.slope)
    look = "trend" if trend.sure else "trend unsure"
    return [
        f'<polygon class="band" points="{band}"/>',
        f'<polyline class="{look}" points="{" ".join(line)}"/>',
    ]


def _steps(low: float, high: float) -> list[float]:
    """Return two to four round numbers between two values."""
    raw = (high - low) / 3 or 1.0
    size = 10.0 ** math.floor(math.log10(raw))
    step = next(size * k for k in (1, 2, 5, 10) if size * k >= raw)
    first = math.ceil(low / step - 1e-9)
    found = [step * n for n in range(first, math.floor(high / step + 1e-9) + 1)]
    return found or [low, high]


def _label_days(first: date, last: date) -> list[date]:
    """Return the days to write below: both ends and what fits between."""
    days = (last - first).days
    count = 1 if days == 0 else 2 if days < 21 else 3 if days < 42 else 4
    return [first + timedelta(days=round(days * n / max(count - 1, 1))) for n in range(count)]


def _plain(value: float) -> str:
    return f"{value:.0f}" if value == int(value) else f"{value:g}"


def _level(y: float, words: str) -> str:
    line = f'<path class="level" d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}"/>'
    return (
        line + f'<text class="soft" x="{LEFT - 5}" y="{y + 4:.1f}" text-anchor="end">{words}</text>'
    )


def _below(x: float, base: float, day: date) -> str:
    inside = min(max(x, LEFT + 14), WIDTH - RIGHT - 14)
    return _text(inside, base + 15, day_of(day), "soft")


def _text(x: float, y: float, words: str, look: str) -> str:
    return (
        f'<text class="{look}" x="{x:.1f}" y="{y:.1f}" text-anchor="middle">'
        f"{html.escape(words)}</text>"
    )


def _svg(parts: Sequence[str], height: float, key: str, title: str, said: str) -> str:
    """Put parts into one picture; ``key`` makes its ids unique in the page."""
    title, said = (html.escape(_visible(words)) for words in (title, said))
    return (
        f'<svg class="over-time" viewBox="0 0 {WIDTH} {height:.0f}" role="img" '
        f'aria-labelledby="{key}-title {key}-desc" xmlns="http://www.w3.org/2000/svg">'
        f'<title id="{key}-title">{title}</title><desc id="{key}-desc">{said}</desc>'
        f"{''.join(parts)}</svg>"
    )


def _visible(words: str) -> str:
    return "".join(c for c in words if unicodedata.category(c) != "Cc")
