"""Times and days as people write them, whatever the computer's language."""

from __future__ import annotations

from datetime import date, datetime

MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)


def clock(ms: int) -> str:
    """Return a length as m:ss, h:mm:ss from an hour on, with tenths when there are any."""
    return clock_hours(ms) if ms >= 3_600_000 else f"{ms // 60_000}:{_seconds(ms)}"


def whole_clock(ms: int) -> str:
    """Return a measured length as ``clock`` does, its last second cut off."""
    return clock(ms - ms % 1000)


def clock_hours(ms: int) -> str:
    """Return a length as h:mm:ss, which spreadsheets read as a length of time."""
    return f"{ms // 3_600_000}:{ms // 60_000 % 60:02d}:{_seconds(ms)}"


def _seconds(ms: int) -> str:
    text = f"{ms // 1000 % 60:02d}"
    return f"{text}.{ms // 100 % 10}" if ms % 1000 else text


def seconds_of(ms: float) -> str:
    """Return a length in seconds with one decimal."""
    return f"{ms / 1000:.1f} s"


def ms_of(us: float) -> str:
    """Return a length of microseconds in ms: with one decimal under 10, whole from there on."""
    return f"{us / 1000:.0f} ms" if us >= 9_950 else f"{us / 1000:.1f} ms"


def span_of(ms: int) -> str:
    """Return a length of time as people say it: "0.4 s", "30 s", "5:00 min"."""
    if ms < 9_950:
        return f"{ms / 1000:.1f} s" if ms % 1000 else f"{ms // 1000} s"
    return f"{round(ms / 1000)} s" if ms < 119_500 else f"{whole_clock(ms)} min"


def local_time(utc_us: int) -> datetime:
    """Return a UTC instant in this computer's time zone."""
    return datetime.fromtimestamp(utc_us / 1e6).astimezone()


def span_words(seconds: float) -> str:
    """Return a long time as people say it: "40 s", "5 min", "2 h 10 min", "365 days"."""
    if seconds < 60:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    if minutes >= 3 * 24 * 60:
        return f"{round(minutes / 1440)} days"
    return f"{minutes // 60} h {minutes % 60} min" if minutes >= 60 else f"{minutes} min"


def date_of(utc_us: int) -> str:
    """Return a day and time of day: "6 July 2026, 18:30"."""
    at = local_time(utc_us)
    return f"{at.day} {MONTHS[at.month - 1]} {at.year}, {at:%H:%M}"


def time_of(utc_us: int) -> str:
    """Return a time of day: "18:14:20"."""
    return f"{local_time(utc_us):%H:%M:%S}"


def class_date(start_utc_us: int | None, collected_utc_us: int) -> str:
    """Return when a class began, or that only the time of collecting is known."""
    if start_utc_us is not None:
        return date_of(start_utc_us)
    return f"{date_of(collected_utc_us)} (collected; no box had a clock)"


def day_of(day: date, now: date | None = None) -> str:
    """Return a day in few letters: "6 Jul"; with its year where that is not the year of ``now``."""
    year = "" if now is None or now.year == day.year else f" {day.year}"
    return f"{day.day} {MONTHS[day.month - 1][:3]}{year}"


def days_of(first: date, last: date) -> str:
    """Return a stretch of days: "3 July to 21 September 2026"."""
    until = f"{last.day} {MONTHS[last.month - 1]} {last.year}"
    if first == last:
        return until
    year = "" if first.year == last.year else f" {first.year}"
    return f"{first.day} {MONTHS[first.month - 1]}{year} to {until}"
