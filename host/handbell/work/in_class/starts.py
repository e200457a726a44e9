"""When a class starts: ``--in``, ``--now``, and ``--at`` by the clock on the wall.

``--at 18:00`` is the nearest 18:00 there is. One that has gone by is refused, since two minutes
late never means tomorrow; a date before it says any other day. Where the clocks are put forward
over the time, the start comes as long after the change as was meant; where a time comes twice,
the first still ahead is taken. Either is said in words.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo

from handbell.base.errors import UsageError
from handbell.base.times import span_words
from handbell.base.wall import local, resolved

_UNITS = {"s": 1, "m": 60, "h": 3600}
MOST_AHEAD_S = 2 * 86_400
LEAST_AHEAD_S = 5  # a box takes a start 2 s ahead, and is asked again when a cable is bad
EXAMPLE_DAY = "2026-11-26"
_AT = re.compile(r"(?:(\d{4}-\d\d-\d\d)[ T])?(\d{1,2}:\d\d(?::\d\d)?)")


@dataclass(frozen=True)
class Start:
    """A class start in UTC, and what must be said about it, "" for nothing."""

    utc_ms: int
    words: str = ""


def start_of(
    now_us: int, within: str | None = None, at: str | None = None, zone: tzinfo | None = None
) -> Start:
    """Return the start so long from now, or at a time of day; with neither as soon as can be.

    ``zone`` is the computer's own unless told. Raises UsageError.
    """
    now_s = now_us // 1_000_000
    if within is not None:
        return Start((now_s + _within_s(within)) * 1000)
    if at is not None:
        return _at(at, now_us / 1e6, zone)
    return Start((now_s // 10 + 2) * 10_000)


def _within_s(word: str) -> int:
    number, unit = word[:-1], word[-1:]
    if unit not in _UNITS or not number.isdigit() or not int(number):
        raise UsageError(f"--in {word} is no time", "Say for example 90s, 5m or 1h")
    seconds = int(number[:9]) * _UNITS[unit]
    if len(number) > 9 or seconds > MOST_AHEAD_S:
        raise UsageError(f"--in {word} is too far away", "Two days ahead is the most")
    if seconds < LEAST_AHEAD_S:
        raise UsageError(f"--in {word} is too soon", f"--in {LEAST_AHEAD_S}s is the least")
    return seconds


def _at(word: str, now_s: float, zone: tzinfo | None) -> Start:
    on, at = parsed(word)
    today = local(now_s, zone).date()
    days = [on] if on else [today + timedelta(days=n) for n in (-1, 0, 1)]
    start, wall, words = min(
        (resolved(datetime.combine(day, at), now_s, zone) for day in days),
        key=lambda found: abs(found[0] - now_s),
    )
    if start <= now_s:
        again = resolved(wall + timedelta(days=1), now_s, zone)[1]
        raise UsageError(
            f"--at {word}: {wall:%H:%M} was {span_words(now_s - start)} ago",
            f'Say --in 1m to start soon, or --at "{again:%Y-%m-%d %H:%M}" for the next day',
        )
    if start - now_s > MOST_AHEAD_S:
        raise UsageError(f"--at {word} is too far away", "Two days ahead is the most")
    return Start(round(start) * 1000, words)


def parsed(word: str, option: str = "--at") -> tuple[date | None, time]:
    """Return the day that was said, if any, and the time of day; raises UsageError."""
    match = _AT.fullmatch(word.strip())
    try:
        if match is None:
            raise ValueError
        form = "%H:%M:%S" if match[2].count(":") == 2 else "%H:%M"
        at = datetime.strptime(match[2], form).time()
        return (date.fromisoformat(match[1]) if match[1] else None), at
    except ValueError as error:
        example = _year_first(word) or f"{EXAMPLE_DAY} 18:00"
        raise UsageError(
            f"{option} {word} is no time of day", f'Say for example 18:00, or "{example}"'
        ) from error


def _year_first(word: str) -> str:
    """Return a day and time that were written day first as they must be; "" for other words."""
    found = re.fullmatch(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})[ T,]+(\d{1,2}:\d\d)", word.strip())
    try:
        return f"{date(int(found[3]), int(found[2]), int(found[1]))} {found[4]}" if found else ""
    except ValueError:
        return ""


def ahead_words(seconds: float) -> str:
    """Return how far ahead a start is, for people."""
    return f"in {span_words(seconds)}"
