"""A lone log without a clock, collected long after the class that it is most likely of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, Select, func, or_, select

from handbell.store.database.tables import classes, runs

from . import gathering
from .together import COLLECTING_US, Log, came_before

_C, _R = classes.c, runs.c
_NAMES = "id box_id station start_utc_us collected_utc_us class_id origin filed"
_FACTS: Select[Any] = select(*(_R[name] for name in _NAMES.split()))


@dataclass(frozen=True)
class Late:
    """A log without a clock, alone in a class, that may be of the class ``of``.

    ``seen``: its box was collected before.
    """

    class_id: int
    of: int
    box_id: str
    station: int
    seen: bool


def late(conn: Connection, class_id: int) -> Late | None:
    """Return of which class a lone log without a clock may be, though it was collected late.

    It is the only one of its plan, since its box was last collected, that lacks this box and has
    nobody at its station. None where nobody can tell, and where a coach said that it is its own.
    """
    some = conn.execute(_FACTS.where(_R.class_id == class_id)).all()
    if len(some) != 1 or some[0].start_utc_us is not None or some[0].filed is not None:
        return None
    (mine,) = some
    slot_us = gathering.slot_us_of(conn, mine.id)
    earlier = select(func.max(_R.collected_utc_us)).where(
        _R.box_id == mine.box_id, _R.collected_utc_us <= mine.collected_utc_us - COLLECTING_US
    )
    since_us = conn.scalar(earlier)
    of_box = _R.box_id == mine.box_id, _R.collected_utc_us > (since_us or 0)
    logs = [log for log, _ in gathering.logs_where(conn, of_box[0] & of_box[1], slot_us)]
    lost = next(log for log in logs if log.run == mine.id)
    may = [
        row.id
        for row in _lacking(conn, mine)
        if since_us is None or row.at_utc_us + slot_us > since_us
        if row.start_utc_us is None or _in_order(lost, row.start_utc_us, slot_us, logs)
    ]
    if len(may) != 1:
        return None
    return Late(class_id, may[0], mine.box_id, mine.station, since_us is not None)


def _lacking(conn: Connection, mine: Row[Any]) -> list[Row[Any]]:
    """Return the classes of a log's plan, begun before it was collected, that it can be of.

    Other lone logs without a clock are as much in doubt themselves.
    """
    at = func.coalesce(_C.start_utc_us, _C.collected_utc_us).label("at_utc_us")
    plan = select(_C.plan).where(_C.id == mine.class_id).scalar_subquery()
    there = select(_R.class_id).where(_R.class_id.is_not(None))
    same = _R.origin.is_(None) if mine.origin is None else _R.origin == mine.origin
    has = there.where(or_(_R.station == mine.station, _R.box_id == mine.box_id))
    many = there.group_by(_R.class_id).having(func.count() > 1)
    wanted = select(_C.id, _C.start_utc_us, at).where(
        _C.plan == plan,
        at <= mine.collected_utc_us,
        or_(_C.start_utc_us.is_not(None), _C.id.in_(many)),
        _C.id.in_(there.where(same)),
        _C.id.not_in(has),
    )
    return list(conn.execute(wanted))


def _in_order(lost: Log, start_us: int, slot_us: int, logs: list[Log]) -> bool:
    """Whether what its box played before a log had begun before a class was over, and so on."""
    timed = [(log, log.start_utc_us) for log in logs if log.start_utc_us is not None]
    too_late = any(came_before(log, lost) and at >= start_us + slot_us for log, at in timed)
    too_early = any(came_before(lost, log) and at < start_us for log, at in timed)
    return not too_late and not too_early


def late_sentence(one: Late) -> str:
    """Say that a lone log may be of a class, and how to put it there."""
    when = " since that box was last collected" if one.seen else ""
    return (
        f"A log of box {one.box_id[-4:]} (station {one.station}) tells no time. Class {one.of} is "
        f"the only one of its plan{when} that lacks it, so it may be of that. It is class "
        f"{one.class_id} until you say which it is: handbell class {one.class_id} --join {one.of}"
    )
