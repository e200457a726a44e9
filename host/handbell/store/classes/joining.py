"""Filing runs by class: the rules of ``parted`` put into the store's tables.

Each time a run comes in, those whose place may depend on it are parted anew. A class keeps its
number as long as most of its runs stay together; names go along with the logs they were said of.
"""

from __future__ import annotations

import struct
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Row,
    Select,
    and_,
    bindparam,
    delete,
    func,
    insert,
    or_,
    select,
    update,
)

from handbell.store.database.database import Database
from handbell.store.database.tables import classes, plans, runs, taps, timelines
from handbell.store.logs.journals import end_is_damaged, ends_by_cut
from handbell.store.logs.timelines import slot_ms_of
from handbell.store.people.worn import move_names, said_of_all
from handbell.store.results.settle import settle_borrowers
from handbell_core import journal as j
from handbell_core.timeline import HEADER_SIZE

from .doubts import moves, moves_told, of_another_origin, sentences
from .parted import Parted, parted, touch
from .together import MINUTE_US, START_APART_US, Log

WEEK_US = 7 * 24 * 60 * MINUTE_US
_BOX_AT = struct.Struct("<8sHH")

# Built once: for each log anew it takes as long as to count a tenth of it.
_TURN = (
    select(plans.c.digest)
    .where(plans.c.digest.in_(bindparam("of", expanding=True)))
    .order_by(plans.c.digest)
    .with_for_update()
)
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
_FILED = _OF_PLAN.where(runs.c.filed.in_(bindparam("filed", expanding=True)))
_LENGTH = select(func.substr(timelines.c.data, 1, HEADER_SIZE).label("head"), timelines.c.plan)
_LENGTH = _LENGTH.join(runs, runs.c.timeline == timelines.c.digest).where(
    runs.c.id == bindparam("run")
)

Rows = dict[int, Row[Any]]


def take_turn(conn: Connection, of: Iterable[str]) -> None:
    """Wait until no other program is taking in a run of these plans (SQLite has one writer).

    In the order of digests, so that two programs never wait for each other.
    """
    if conn.dialect.name == "postgresql":
        conn.execute(_TURN, {"of": list(of)})


def file(
    conn: Connection,
    run: int,
    anew: Collection[int] = (),
    differ: list[str] | None = None,
    moved: list[str] | None = None,
) -> int:
    """File a run that is in the store, and what depends on it; return the class it is in now.

    ``anew`` are runs that take no class's number along. To ``differ`` a sentence is added for each
    name that gave way to another of the same bib, to ``moved`` for logs that a coach may have seen
    in another class.
    """
    plan, rows, found = parted_around(conn, run)
    (number,) = _numbers([(rows, found)], anew)
    return _write(conn, plan, rows, found, number, differ, moved)[run]


def around(conn: Connection, some: Collection[int]) -> set[int]:
    """Return the other runs whose place may depend on some."""
    found: set[int] = set()
    for run in some:
        if run not in found:
            found |= set(parted_around(conn, run)[1])
    return found - set(some)


def file_all(conn: Connection) -> list[str]:
    """File all that is in a store by the rules of now; return a sentence for all that went.

    For a store whose logs were filed by other rules, or with other starts.
    """
    said: list[str] = []
    r, c = runs.c, classes.c
    latest = select(func.max(r.start_utc_us)).where(r.class_id == c.id).scalar_subquery()
    with moves_told(conn, conn.scalars(select(plans.c.digest)).all(), said):
        conn.execute(update(classes).values(start_utc_us=latest))  # so that no run is missed by it
        all_ = select(r.id).where(r.class_id.is_not(None)).order_by(r.id)
        file_each(conn, conn.scalars(all_).all(), said)
    return list(dict.fromkeys(said))


def file_each(conn: Connection, some: Iterable[int], differ: list[str] | None = None) -> None:
    """File runs, and what depends on each; of those that no longer do one keeps the number."""
    seen: set[int] = set()
    found = []
    for run in some:
        if run not in seen:
            found.append(parted_around(conn, run))
            seen |= set(found[-1][1])
    numbers = _numbers([(rows, parts) for _, rows, parts in found])
    for (plan, rows, parts), number in zip(found, numbers, strict=True):
        _write(conn, plan, rows, parts, number, differ, None)


def doubts(store: Database, some: Iterable[int]) -> list[str]:
    """Return a sentence for each doubt in how runs were filed, and how to settle it."""
    with store.reading() as conn:
        return doubts_in(conn, some)


def doubts_in(conn: Connection, some: Iterable[int], told: Collection[int] = ()) -> list[str]:
    """As ``doubts``; of classes in ``told`` it was said that they are another coach's."""
    said: dict[str, None] = {}
    seen: set[int] = set()
    started = select(runs.c.id).where(runs.c.id.in_(list(some)), runs.c.class_id.is_not(None))
    for run in conn.scalars(started.order_by(runs.c.id)).all():
        if run in seen:
            continue
        _, rows, found = parted_around(conn, run)
        seen |= set(rows)
        said |= dict.fromkeys(sentences(rows, found))
    of = select(runs.c.class_id).where(runs.c.id.in_(list(some)), runs.c.class_id.is_not(None))
    for class_id in conn.scalars(of.distinct().order_by(runs.c.class_id)).all():
        if class_id not in told:
            said |= dict.fromkeys(of_another_origin(conn, class_id))
    return list(said)


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
    return _by_id(conn, _AROUND, {"plan": plan, **reach})


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


def _write(
    conn: Connection,
    plan: str,
    rows: Rows,
    found: Parted,
    number: dict[int, int],
    differ: list[str] | None,
    told: list[str] | None,
) -> dict[int, int]:
    """Give each group of logs the number of a class, or a new one; return the class of each run."""
    now: dict[int, int] = {}
    for place, group in enumerate(found.classes):
        mine = [rows[log.run] for log in group]
        timed = [row for row in mine if row.start_utc_us is not None]
        first = min(timed or mine, key=lambda row: (row.start_utc_us or 0, row.digest))
        facts = {
            "start_utc_us": first.start_utc_us,
            "started_by": first.started_by,
            "collected_utc_us": min(row.collected_utc_us for row in mine),
        }
        if place in number:
            conn.execute(update(classes).where(classes.c.id == number[place]).values(facts))
        else:
            made = conn.execute(insert(classes), {"plan": plan, **facts}).inserted_primary_key
            assert made is not None
            number[place] = int(made[0])
        now |= {row.id: number[place] for row in mine}
    moved = {run for run, class_id in now.items() if rows[run].class_id != class_id}
    went = {now[run] for run in moved}
    for class_id in went:
        some = [run for run in moved if now[run] == class_id]
        conn.execute(update(runs).where(runs.c.id.in_(some)).values(class_id=class_id))
    if told is not None:
        told += moves(conn, rows, now)
    before = {run: rows[run].class_id for run in moved}
    if moved:
        settle_borrowers(conn, {*went, *before.values()} - {None})
    if any(class_id is not None for class_id in before.values()) or said_of_all(conn, went):
        empty = move_names(conn, before, differ)
        conn.execute(delete(classes).where(classes.c.id.in_(empty)))
    return now


def _numbers(
    parts: Sequence[tuple[Rows, Parted]], anew: Collection[int] = ()
) -> list[dict[int, int]]:
    """Return for each part which group goes on under which class's number.

    It is the one where most of that class's runs are.
    """
    claims: dict[tuple[int, int, int], int] = {}
    for part, (rows, found) in enumerate(parts):
        for place, group in enumerate(found.classes):
            for log in group:
                class_id = rows[log.run].class_id
                if class_id is not None and log.run not in anew:
                    claim = class_id, part, place
                    claims[claim] = claims.get(claim, 0) + 1
    numbers: list[dict[int, int]] = [{} for _ in parts]
    taken: set[int] = set()
    for (class_id, part, place), _ in sorted(claims.items(), key=lambda one: (-one[1], one[0])):
        if place not in numbers[part] and class_id not in taken:
            numbers[part][place] = class_id
            taken.add(class_id)
    return numbers
