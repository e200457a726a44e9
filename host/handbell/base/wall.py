"""Times on the wall, and the instants that they are."""

from __future__ import annotations

import time
from datetime import datetime, timezone, tzinfo

from handbell.base.errors import UsageError

DAY_S = 86_400
YEAR_LEAST, YEAR_MOST = 1971, 9998  # a zone's hours and a class still lie within what can be told


def local(utc_s: float, zone: tzinfo | None) -> datetime:
    """Return what a clock on the wall shows, in a zone or in this computer's."""
    return datetime.fromtimestamp(utc_s, timezone.utc).astimezone(zone).replace(tzinfo=None)


def zone_change(after_s: float) -> tuple[int, int] | None:
    """Return the next UTC second at which this computer's zone changes, and its seconds then.

    None where it stays the same for a year.
    """
    zone_s = _zone_s(after_s)
    later = (int(after_s) + day * DAY_S for day in range(1, 367))
    found = next((s for s in later if _zone_s(s) != zone_s), None)
    if found is None:
        return None
    before = found - DAY_S
    while found - before > 1:
        middle = (before + found) // 2
        before, found = (middle, found) if _zone_s(middle) == zone_s else (before, middle)
    return found, _zone_s(found)


def _zone_s(utc_s: float) -> int:
    return time.localtime(utc_s).tm_gmtoff


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
