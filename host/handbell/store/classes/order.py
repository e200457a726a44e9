"""When a class without any clock was, as well as it is known: the one rule for every list."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from typing import Any

from sqlalchemy import Connection, Row, Select, select, true

from handbell.store.database.tables import classes, runs

from .gathering import WEEK_US
from .played import boots_of
from .together import COLLECTING_US, Log, came_before, in_one_boot

_C, _R = classes.c, runs.c
_RUNS: Select[Any] = select(_R.id, _R.box_id, _R.class_id, _R.start_utc_us, _R.collected_utc_us)


def placed(
    conn: Connection, since_utc_us: int | None = None, until_utc_us: int | None = None
) -> dict[int, int]:
    """Return by when each class without a clock was over, in UTC us, by its number.

    That is when it was collected, or just before the first class of which one of its boxes has a
    later log. Only of classes that were collected in a time, both ends in it.
    """
    within = [
        _C.start_utc_us.is_(None),
        true() if since_utc_us is None else _C.collected_utc_us >= since_utc_us,
        true() if until_utc_us is None else _C.collected_utc_us <= until_utc_us,
    ]
    lost = select(_C.id, _C.collected_utc_us).where(*within)
    at = {row.id: int(row.collected_utc_us) for row in conn.execute(lost)}
    if not at:
        return at
    before = _orders(conn, at)
    sure = [pair for pair in before if pair[0] in at and pair[::-1] not in before]
    begun = {other for _, other in sure} - set(at)
    starts = select(_C.id, _C.start_utc_us).where(_C.id.in_(begun), _C.start_utc_us.is_not(None))
    of = at | {row.id: int(row.start_utc_us) for row in conn.execute(starts)}
    for _ in at:  # it may have no end where each of three boxes tells another order
        moved = False
        for one, other in sure:
            if other in of and of[other] <= of[one]:
                of[one], moved = of[other] - 1, True
        if not moved:
            break
    return {number: of[number] for number in at}


def _orders(conn: Connection, at: dict[int, int]) -> set[tuple[int, int]]:
    """Return the pairs of a class without a clock and another, in the order that a box tells."""
    boxes = select(_R.box_id).where(_R.class_id.in_(list(at))).distinct()
    since = min(at.values()) - COLLECTING_US
    wanted = _RUNS.where(
        _R.box_id.in_(boxes), _R.class_id.is_not(None), _R.collected_utc_us >= since
    )
    by_box: dict[str, list[Any]] = {}
    for row in conn.execute(wanted.order_by(_R.box_id, _R.collected_utc_us, _R.id)):
        by_box.setdefault(row.box_id, []).append(row)
    found = set()
    for mine in by_box.values():
        pairs = list(_near(mine, at))
        boots = boots_of(conn, sorted({row.id for pair in pairs for row in pair}))
        for one, other in pairs:
            a, b = _log(one, boots), _log(other, boots)
            if came_before(a, b) or in_one_boot(a, b):
                found.add((one.class_id, other.class_id))
            elif came_before(b, a):
                found.add((other.class_id, one.class_id))
    return found


def _near(mine: list[Row[Any]], at: dict[int, int]) -> Iterator[tuple[Row[Any], Row[Any]]]:
    """Yield each log without a clock with those of its box that may have been later.

    What was collected longer before was there before; a class that began after this one was
    collected stands after it anyway.
    """
    times = [row.collected_utc_us for row in mine]
    for one in mine:
        if one.class_id not in at:
            continue
        first = bisect_left(times, one.collected_utc_us - COLLECTING_US)
        for other in mine[first : bisect_left(times, one.collected_utc_us + WEEK_US)]:
            start = other.collected_utc_us - COLLECTING_US
            start = start if other.start_utc_us is None else other.start_utc_us
            if other.class_id != one.class_id and start <= at[one.class_id]:
                yield one, other


def _log(row: Row[Any], boots: dict[int, int]) -> Log:
    """Return what tells the order of a box's logs."""
    times = {"start_utc_us": row.start_utc_us, "collected_utc_us": row.collected_utc_us}
    return Log(row.id, "", row.box_id, 0, slot_us=0, boot=boots.get(row.id, 0), **times)
