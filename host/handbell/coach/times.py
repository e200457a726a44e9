"""Times as people write them."""

from __future__ import annotations


def clock(ms: int) -> str:
    """Return a time as m:ss, with tenths when there are any."""
    return f"{ms // 60_000}:{_seconds(ms)}"


def clock_hours(ms: int) -> str:
    """Return a time as h:mm:ss, which spreadsheets read as a length of time."""
    return f"{ms // 3_600_000}:{ms // 60_000 % 60:02d}:{_seconds(ms)}"


def _seconds(ms: int) -> str:
    text = f"{ms // 1000 % 60:02d}"
    return f"{text}.{ms // 100 % 10}" if ms % 1000 else text
