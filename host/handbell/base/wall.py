"""Times on the wall, and the instants that they are."""

from __future__ import annotations

from datetime import datetime, timezone, tzinfo

from handbell.base.errors import UsageError

YEAR_LEAST, YEAR_MOST = 1971, 9998  # a zone's hours and a class still lie within what can be told


def local(utc_s: float, zone: tzinfo | None) -> datetime:
    """Return what a clock on the wall shows, in a zone or in this computer's."""
    return datetime.fromtimestamp(utc_s, timezone.utc).astimezone(zone).replace(tzinfo=None)


def _utc_s(wall: datetime, zone: tzinfo | None) -> float:
    return wall.replace(tzinfo=zone).timestamp()


def resolved(wall: datetime, now_s: float, zone: tzinfo | None) -> tuple[float, datetime, str]:
    """Return the instant of a wall time, the wall time that it really is, and what to say.

    Raises UsageError for a year that computers have no clock for.
    """
    if not YEAR_LEAST <= wall.year <= YEAR_MOST:
        raise UsageError(f"The year {wall.year} is out of reach", "Write a day like 2026-12-01")
    first, second = (_utc_s(wall.replace(fold=fold), zone) for fold in (0, 1))
    if first == second:
        return first, wall, ""
    shown = f"{wall:%H:%M}"
    there = local(first, zone)
    if there != wall:  # put forward over it: the zone before the change still counts
        return first, there, f"There is no {shown} that day: the clocks are put forward"
    if first > now_s:
        return first, wall, f"{shown} comes twice that day: the first one is meant"
    return second, wall, f"{shown} comes twice that day: the first has gone by, this is the second"
