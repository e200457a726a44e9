"""What a run's place may depend on: the runs of its plan near it, as logs with all facts."""

from __future__ import annotations

import struct
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Row,
    Select,
    and_,
    bindparam,
    func,
    or_,
    select,
)

from handbell.store.database.tables import classes, runs, taps, timelines
from handbell.store.logs.journals import end_is_damaged, ends_by_cut
from handbell.store.logs.timelines import slot_ms_of
from handbell_core import journal as j
from handbell_core.timeline import HEADER_SIZE

from .parted import Parted, parted, touch
from .together import MINUTE_US, START_APART_US, Log

WEEK_US = 7 * 24 * 60 * MINUTE_US


_BOX_AT = struct.Struct("<8sHH")


_FACTS = (
    "id digest box_id station start_utc_us started_by state stopped collected_utc_us "
    "origin filed kept class_id timeline"
)


_RUNS: Select[Any] = select(*(runs.c[name] for name in _FACTS.split()))


_OF_PLAN = _RUNS.join(classes, classes.c.id == runs.c.class_id).where(
    classes.c.plan == bindparam("plan")
)


_ONE = _RUNS.where(runs.c.id == bindparam("run"))


_NEAR = _OF_PLAN.where(
    or_(
        runs.c.start_utc_us.is_(None),
        and_(
            classes.c.start_utc_us >= bindparam("since") - START_APART_US,
            runs.c.start_utc_us.between(bindparam("since"), bindparam("until")),
        ),
    )
)


_AROUND = _OF_PLAN.where(
    or_(
        runs.c.start_utc_us.between(bindparam("since"), bindparam("until")),
        runs.c.collected_utc_us.between(bindparam("since"), bindparam("until")),
    )
)


_OF_CLASSES = _OF_PLAN.where(runs.c.class_id.in_(bindparam("classes", expanding=True)))


_FILED = _OF_PLAN.where(runs.c.filed.in_(bindparam("filed", expanding=True)))


_LENGTH = select(func.substr(timelines.c.data, 1, HEADER_SIZE).label("head"), timelines.c.plan)


_LENGTH = _LENGTH.join(runs, runs.c.timeline == timelines.c.digest).where(
    runs.c.id == bindparam("run")
)


Rows = dict[int, Row[Any]]


def parted_around(conn: Connection, run: int) -> tuple[str, Rows, Parted]:
    """Part all runs whose place may depend on one; return its plan, the runs and the parts."""
    told = conn.execute(_LENGTH, {"run": run}).one()
    slot_us = slot_ms_of(bytes(told.head)) * 1000
    new = conn.execute(_ONE, {"run": run}).one()
    rows = {new.id: new} | _near(conn, told.plan, new)
    filed = {row.filed for row in rows.values()} - {None}
    if filed:
        rows |= _by_id(conn, _FILED, {"plan": told.plan, "filed": list(filed)})
    logs = _with_presses(conn, _reached(_logs(conn, rows, slot_us), run))
    return told.plan, {log.run: rows[log.run] for log in logs}, parted(logs)


def _near(conn: Connection, plan: str, new: Row[Any]) -> Rows:
    """Return the runs of a plan among which are all that depend on one."""
    start = new.start_utc_us
    if start is not None:
        since = until = start
        while True:
            reach = {"since": since - START_APART_US, "until": until + START_APART_US}
            found = _by_id(conn, _NEAR, {"plan": plan, **reach})
            timed = [r.start_utc_us for r in found.values() if r.start_utc_us is not None]
            before = since, until
            since, until = min([since, *timed]), max([until, *timed])
            if (since, until) == before:
                break
        if all(r.start_utc_us is not None for r in found.values()):
            return found
    at = new.collected_utc_us if start is None else start
    times = (at, new.collected_utc_us)
    reach = {"since": min(times) - WEEK_US, "until": max(times) + WEEK_US}
    found = _by_id(conn, _AROUND, {"plan": plan, **reach})
    of_timed = {row.class_id for row in found.values() if row.start_utc_us is not None}
    # A log that was left on its box reaches a class of long ago: who was in it counts.
    return found | _by_id(conn, _OF_CLASSES, {"plan": plan, "classes": [*of_timed]})


def _by_id(conn: Connection, query: Select[Any], values: Mapping[str, Any]) -> Rows:
    return {row.id: row for row in conn.execute(query, values)}


def _logs(conn: Connection, rows: Rows, slot_us: int) -> list[Log]:
    lost = {row.box_id for row in rows.values() if row.start_utc_us is None}
    boots = boots_of(conn, [row.id for row in rows.values() if row.box_id in lost])
    cut = cut_off(conn, rows.values())
    return [
        Log(
            run=row.id,
            digest=row.digest,
            box_id=row.box_id,
            station=row.station,
            start_utc_us=row.start_utc_us,
            slot_us=slot_us,
            collected_utc_us=row.collected_utc_us,
            whole=row.state == "whole" and not row.stopped,
            cut=row.id in cut,
            end_damaged=cut.get(row.id, False),
            boot=boots.get(row.id, 0),
            origin=row.origin,
            filed=row.filed,
            kept=row.kept,
        )
        for row in rows.values()
    ]


def logs_where(
    conn: Connection, condition: ColumnElement[bool], slot_us: int
) -> list[tuple[Log, int]]:
    """Return the logs that a condition leaves, each with the class it is in; all with boots."""
    rows = _by_id(conn, _RUNS.where(condition, runs.c.class_id.is_not(None)), {})
    boots = boots_of(conn, list(rows))
    logs = _logs(conn, rows, slot_us)
    return [(replace(g, boot=boots.get(g.run, 0)), rows[g.run].class_id) for g in logs]


def slot_us_of(conn: Connection, run: int) -> int:
    """Return how long the plan of a run lasts, in us."""
    return slot_ms_of(bytes(conn.execute(_LENGTH, {"run": run}).one().head)) * 1000


def boots_of(conn: Connection, some: Sequence[int]) -> dict[int, int]:
    """Return at which of its box's starts each run began, as its log's second record says."""
    if not some:
        return {}
    second = func.substr(runs.c.journal, j.RECORD_SIZE + 1, j.RECORD_SIZE).label("second")
    found = {}
    for row in conn.execute(select(runs.c.id, second).where(runs.c.id.in_(some))):
        record = j.parse_record(bytes(row.second)) if len(row.second) == j.RECORD_SIZE else None
        if record is not None and record[0] == j.BOX:
            found[row.id] = _BOX_AT.unpack_from(record[4])[2]
    return found


def cut_off(conn: Connection, some: Iterable[Row[Any]]) -> dict[int, bool]:
    """Return which runs a power cut ended, and of each whether its end may only be damaged.

    A log that is damaged elsewhere may have its end.
    """
    may = [row.id for row in some if row.state == "cut"]
    if not may:
        return {}
    size = func.length(runs.c.journal)
    last = size - size % j.RECORD_SIZE - j.RECORD_SIZE + 1
    record = func.substr(runs.c.journal, last, j.RECORD_SIZE).label("last")
    found = conn.execute(select(runs.c.id, record).where(runs.c.id.in_(may)))
    last_of = ((row.id, bytes(row.last)) for row in found)
    return {run: end_is_damaged(last) for run, last in last_of if ends_by_cut(last)}


def _reached(logs: Sequence[Log], run: int) -> list[Log]:
    """Return the logs on which a run's place may depend, step by step."""
    left = {log.run: log for log in logs}
    todo = [left.pop(run)]
    found = []
    while todo:
        one = todo.pop()
        found.append(one)
        next_ = [other for other in left.values() if touch(one, other)]
        for other in next_:
            del left[other.run]
        todo += next_
    return found


def _with_presses(conn: Connection, logs: list[Log]) -> list[Log]:
    """Add when each was pressed, where two boxes had one station."""
    boxes: dict[int, set[str]] = {}
    for log in logs:
        boxes.setdefault(log.station, set()).add(log.box_id)
    some = [log.run for log in logs if len(boxes[log.station]) > 1]
    if not some:
        return logs
    wanted = select(taps.c.run, taps.c.class_ms).where(taps.c.run.in_(some), taps.c.kind == "tap")
    pressed_ms: dict[int, list[int]] = {}
    for run, at_ms in conn.execute(wanted):
        pressed_ms.setdefault(run, []).append(at_ms)
    return [replace(log, pressed_ms=tuple(pressed_ms.get(log.run, ()))) for log in logs]
