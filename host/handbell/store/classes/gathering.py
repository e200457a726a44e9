"""What a run's place may depend on: the runs of its plan near it, as logs with all facts."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Row,
    Select,
    bindparam,
    func,
    select,
)

from handbell.store.database.tables import classes, runs, taps, timelines
from handbell.store.logs import journals
from handbell.store.logs.journals import end_is_damaged, ends_by_cut
from handbell.store.logs.timelines import slot_ms_of
from handbell_core import journal as j
from handbell_core.timeline import HEADER_SIZE

from .lost import spell
from .parted import Parted, parted, touch
from .played import Played, boots_of, played
from .put_in import is_put_in, met_by
from .together import (
    COLLECTING_US,
    LATELY_US,
    MINUTE_US,
    START_APART_US,
    Log,
)

WEEK_US = 7 * 24 * 60 * MINUTE_US


_FACTS = (
    "id digest box_id station start_utc_us started_by state stopped collected_utc_us "
    "origin filed kept class_id timeline led_key met_seq dated_by hall"
)


_RUNS: Select[Any] = select(*(runs.c[name] for name in _FACTS.split()))


_OF_PLAN = _RUNS.join(classes, classes.c.id == runs.c.class_id).where(
    classes.c.plan == bindparam("plan")
)


_ONE = _RUNS.where(runs.c.id == bindparam("run"))


_OF_HALL = _OF_PLAN.where(runs.c.hall.is_not_distinct_from(bindparam("hall")))


_NEAR = _OF_HALL.where(
    classes.c.start_utc_us >= bindparam("since") - LATELY_US,  # a class may be long
    runs.c.start_utc_us.between(bindparam("since"), bindparam("until")),
)


_LOST = _OF_HALL.where(runs.c.start_utc_us.is_(None))


_PUT_IN = _OF_HALL.where(runs.c.started_by == journals.LATE).limit(1)


_FILED = _OF_PLAN.where(runs.c.filed.in_(bindparam("filed", expanding=True)))


_LED = _OF_PLAN.where(runs.c.led_key.in_(bindparam("keys", expanding=True)))


_LENGTH = select(func.substr(timelines.c.data, 1, HEADER_SIZE).label("head"), timelines.c.plan)


_LENGTH = _LENGTH.join(runs, runs.c.timeline == timelines.c.digest).where(
    runs.c.id == bindparam("run")
)


Rows = dict[int, Row[Any]]


def parted_around(
    conn: Connection, run: int, without: int | None = None
) -> tuple[str, Rows, Parted]:
    """Part all runs whose place may depend on one; return its plan, the runs and the parts.

    ``without`` is a run that is left out, as if it were not there.
    """
    told = conn.execute(_LENGTH, {"run": run}).one()
    slot_us = slot_ms_of(bytes(told.head)) * 1000
    new = conn.execute(_ONE, {"run": run}).one()
    rows = {new.id: new} | _near(conn, told.plan, new, slot_us, without)
    more: Rows = {}
    if filed := {row.filed for row in rows.values()} - {None}:
        more |= _by_id(conn, _FILED, {"plan": told.plan, "filed": list(filed)})
    if keys := {row.led_key for row in rows.values()} - {None}:
        more |= _by_id(conn, _LED, {"plan": told.plan, "keys": list(keys)})
    if more.keys() - rows.keys():  # each of these may reach others in turn
        rows |= _by_id(conn, _OF_PLAN, {"plan": told.plan})
    rows.pop(without or 0, None)
    logs = _with_presses(conn, reached(_logs(conn, rows, slot_us, without), run))
    return told.plan, {log.run: rows[log.run] for log in logs}, parted(logs)


def hanging_on(conn: Connection, run: int) -> set[int]:
    """Return the runs whose place may be another since a run is there, that it does not touch.

    It tells of its box's logs without a clock when they were played, of every plan.
    """
    new = conn.execute(_ONE, {"run": run}).one()
    lost = conn.execute(
        _RUNS.where(
            runs.c.box_id == new.box_id,
            runs.c.start_utc_us.is_(None),
            runs.c.class_id.is_not(None),
            runs.c.id != run,
            runs.c.collected_utc_us >= (new.start_utc_us or new.collected_utc_us - COLLECTING_US),
        )
    ).all()
    now, was = played(conn, lost), played(conn, lost, run)
    found: set[int] = set()
    for row in lost:
        if now[row.id] != was[row.id] and row.id not in found:
            found |= set(parted_around(conn, row.id, run)[1])
    return found


def _near(conn: Connection, plan: str, new: Row[Any], slot_us: int, without: int | None) -> Rows:
    """Return the runs of a plan and hall among which are all that depend on one.

    Where one without a clock may be among them, that is all of both: it may reach far back.
    """
    of = {"plan": plan, "hall": new.hall}
    lost = _by_id(conn, _LOST, of)
    start = new.start_utc_us
    put_in = new.started_by == journals.LATE or conn.execute(_PUT_IN, of).first()
    if start is None or put_in:
        return _by_id(conn, _OF_HALL, of)
    since = until = start
    while True:
        reach = {"since": since - START_APART_US, "until": until + START_APART_US}
        found = _by_id(conn, _NEAR, {**of, **reach})
        timed = [r.start_utc_us for r in found.values()]
        before = since, until
        since, until = min([since, *timed]), max([until, *timed])
        if (since, until) == before:
            break
    spells = played(conn, lost.values(), without).values()
    if any(one.since_us <= until and since < one.until_us + slot_us for one in spells):
        return _by_id(conn, _OF_HALL, of)
    return found


def _by_id(conn: Connection, query: Select[Any], values: Mapping[str, Any]) -> Rows:
    return {row.id: row for row in conn.execute(query, values)}


def _logs(
    conn: Connection,
    rows: Rows,
    slot_us: int,
    without: int | None = None,
    surely: bool = False,
) -> list[Log]:
    lost = {row.box_id for row in rows.values() if row.start_utc_us is None}
    boots = boots_of(conn, [row.id for row in rows.values() if row.box_id in lost])
    cut = cut_off(conn, rows.values())
    without_clock = [row for row in rows.values() if row.start_utc_us is None]
    when = played(conn, without_clock, without, surely)
    met = met_by(conn, rows.values())
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
            meets=met.get(row.id, ()),
            boot=boots.get(row.id, 0),
            origin=row.origin,
            filed=row.filed,
            kept=row.kept,
            key=row.led_key,
            hall=row.hall,
            put_in=is_put_in(row),
            **when.get(row.id, Played())._asdict(),
        )
        for row in rows.values()
    ]


def logs_where(
    conn: Connection, condition: ColumnElement[bool], slot_us: int, surely: bool = False
) -> list[tuple[Log, int]]:
    """Return the logs that a condition leaves, each with the class it is in; all with boots.

    ``surely``: with those times only that its box's clock and starts tell.
    """
    rows = _by_id(conn, _RUNS.where(condition, runs.c.class_id.is_not(None)), {})
    boots = boots_of(conn, list(rows))
    logs = _logs(conn, rows, slot_us, surely=surely)
    return [(replace(g, boot=boots.get(g.run, 0)), rows[g.run].class_id) for g in logs]


def slot_us_of(conn: Connection, run: int) -> int:
    """Return how long the plan of a run lasts, in us."""
    return slot_ms_of(bytes(conn.execute(_LENGTH, {"run": run}).one().head)) * 1000


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


def reached(logs: Sequence[Log], run: int) -> list[Log]:
    """Return the logs on which a run's place may depend, step by step."""
    timed = sorted((g for g in logs if g.start_utc_us is not None), key=_start)
    starts = [_start(log) for log in timed]
    lost = [log for log in logs if log.start_utc_us is None]
    same: dict[str, list[Log]] = {}
    by_digest = {log.digest: log for log in logs}
    for log in logs:
        for digest in log.met & by_digest.keys():
            same.setdefault(log.digest, []).append(by_digest[digest])
            same.setdefault(digest, []).append(log)
        if log.filed is not None:
            same.setdefault(log.filed, []).append(log)
        if log.key is not None:
            same.setdefault(log.key, []).append(log)
    todo = [log for log in logs if log.run == run]
    seen = {run}
    found = []
    while todo:
        one = todo.pop()
        found.append(one)
        since, until = spell(one)
        far_us = max(START_APART_US, one.slot_us)
        around = timed[bisect_left(starts, since - far_us) : bisect_right(starts, until + far_us)]
        for other in (*around, *lost, *_same(one, same)):
            if other.run not in seen and touch(one, other):
                seen.add(other.run)
                todo.append(other)
    return found


def _same(log: Log, same: Mapping[str, list[Log]]) -> Iterable[Log]:
    found = (same.get(key or "", ()) for key in (log.filed, log.key, log.digest))
    return [other for some in found for other in some]


def _start(log: Log) -> int:
    return log.start_utc_us or 0


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
