"""Logs whose first record is damaged, so that they do not say what was played.

The timelines that the store has are tried: all that the other records tell must fit. Where several
fit, a class of the plan must have begun at the same time; where one fits that was played here, too,
or have been collected with the log if either tells no time. Nothing is guessed: if it is still not
one, the coach says.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import Connection, select

from handbell.base.digest import short_hex
from handbell.base.errors import UsageError
from handbell.store.classes.together import COLLECTING_US, START_APART_US
from handbell.store.database import tables
from handbell_core import journal as j
from handbell_core.timeline import TAP_TALLY

from . import journals, timelines
from .journals import Played
from .outages import Record, entered_in
from .recount import PRESS, recount

PUT_BACK = "it was put back, since it was read as what it is not"
DOUBTED = "it does not say which plan it is of, and a plan on that box can't be read"
ONLY_SAID = (PUT_BACK, DOUBTED)  # read by the coach's word alone
_U, _R = tables.unread.c, tables.runs.c


def played_by(
    conn: Connection, journal: bytes, box_id: str, collected_utc_us: int
) -> Played | None:
    """Return the only timeline here that a log with a damaged first record can be of.

    None for one that is read by the coach's word alone.
    """
    aside = select(_U.digest).where(_U.digest == short_hex(journal), _U.reason.in_(ONLY_SAID))
    if not journals.is_headless(journal) or conn.execute(aside).first() is not None:
        return None
    t, b = tables.timelines.c, tables.boxes.c
    station = conn.scalar(select(b.station).where(b.box_id == box_id))
    wanted = select(t.digest, t.plan, t.station, t.data)
    if station is not None:
        wanted = wanted.where(t.station == station)
    fit = _fitting(journal, conn.execute(wanted.order_by(t.digest)).all())
    start = journals.read(journal, Played("", 0)).start_utc_us
    if len({row.plan for row in fit}) > 1:
        fit = [row for row in fit if _began_near(conn, row.plan, start)]
    elif fit and _played(conn, fit[0].plan):
        # It may be the plan before it was edited, when it was played at other times only.
        plan = fit[0].plan
        if not (
            _began_near(conn, plan, start) or _collected_near(conn, plan, start, collected_utc_us)
        ):
            return None
    if len(fit) > 1 and len({row.plan for row in fit}) == 1:
        fit = [row for row in fit if _of_hall(conn, row, start, collected_utc_us)]
    return Played(fit[0].digest, fit[0].station) if len(fit) == 1 else None


def played_in(conn: Connection, journal: bytes, reason: str, class_id: int) -> Played:
    """Return the timeline of a class's plan that a log with a damaged first record can be of.

    ``reason`` is why it could not be read. Raises UsageError when none or several can be.
    """
    digest = short_hex(journal)
    t, c = tables.timelines.c, tables.classes.c
    if not journals.is_headless(journal):
        raise UsageError(
            f"Log {digest[:8]} can't be read: {reason}",
            "To know its class does not help; handbell unread --out keeps its bytes",
        )
    plan = conn.scalar(select(c.plan).where(c.id == class_id))
    rows = conn.execute(select(t.digest, t.station, t.data).where(t.plan == plan)).all()
    fit = _fitting(journal, rows, said=True)
    halls = set(conn.scalars(select(_R.hall).where(_R.class_id == class_id).distinct()))
    if len(fit) > 1 or None not in halls:  # sent by several halls, it is the one of that class
        fit = [row for row in fit if timelines.hall_of(row.data) in {*halls, None}]
    if len({row.station for row in fit}) == 1:
        fit = sorted(fit, key=lambda row: timelines.hall_of(row.data) not in halls)[:1]
    if len(fit) != 1:
        how = "no box's part" if not fit else "the parts of several boxes"
        raise UsageError(
            f"Log {digest[:8]} fits {how} in the plan of class {class_id}",
            "Say another class; handbell unread --out keeps its bytes",
        )
    return Played(fit[0].digest, fit[0].station)


def _fitting(journal: bytes, rows: Iterable[Any], said: bool = False) -> list[Any]:
    """Return the timelines that a log with a damaged first record can be of.

    They have a place for each press and result at its time, and the count of the presses agrees
    with the box's own. Where more records are damaged it can't quite agree: then the coach's word
    (``said``) will do, if none agrees.
    """
    found = journals.read(journal, Played("", 0))
    told = {place for record in found.records for place in _place(record)}
    if not told:
        return []
    agreed, fit = [], []
    for row in rows:
        windows = timelines.decode(row.data).windows
        if all(_has_place(windows, *place) for place in told):
            fit.append(row)
            if not recount(windows, found.records, True).mismatches:
                agreed.append(row)
    return agreed or (fit if said and found.broken > 1 else [])


def _place(record: Record) -> list[tuple[int, int, int, int, bool]]:
    """Return the window, slot, bib and ``class_ms`` that a record speaks of, and if it is a result.

    Nothing for a press that was not to be counted, and for one that only corrects another.
    """
    kind, slot, window, class_ms, payload = record
    if kind == j.TAP:
        bib, _, _, flags = PRESS.unpack_from(payload)
        return [] if flags & j.TAP_OUTSIDE else [(window, slot, bib, class_ms, False)]
    if kind == j.RESULT:
        return [(window, slot, int.from_bytes(payload[:2], "little"), class_ms, True)]
    return []


def _has_place(
    windows: Mapping[int, timelines.Window],
    number: int,
    slot: int,
    bib: int,
    class_ms: int,
    result: bool,
) -> bool:
    """Whether a window was then, with a bib there; a tally is entered in the rest after it."""
    window = windows.get(number)
    if window is None or slot >= len(window.bibs) or window.bibs[slot] != bib:
        return False
    if result:
        return class_ms == window.start_ms
    asked = window.at(slot)
    begin, end = asked.start_ms, asked.end_ms
    if asked.tap == TAP_TALLY:
        begin, end = entered_in(windows, asked)
    return begin <= class_ms < end


def _played(conn: Connection, plan: str) -> bool:
    """Whether there is a class of a plan."""
    c = tables.classes.c
    return conn.execute(select(c.id).where(c.plan == plan).limit(1)).first() is not None


def _began_near(conn: Connection, plan: str, start_utc_us: int | None) -> bool:
    """Whether a class of a plan began at about a time; not if that is not known."""
    if start_utc_us is None:
        return False
    c = tables.classes.c
    near = c.start_utc_us.between(start_utc_us - START_APART_US, start_utc_us + START_APART_US)
    return conn.execute(select(c.id).where(c.plan == plan, near).limit(1)).first() is not None


def _of_hall(conn: Connection, row: Any, start_utc_us: int | None, collected_utc_us: int) -> bool:
    """Whether logs of a timeline's plan and hall began near a time, or were collected near one."""
    near = _R.start_utc_us.between(
        (start_utc_us or 0) - START_APART_US, (start_utc_us or 0) + START_APART_US
    )
    if start_utc_us is None:
        near = _R.collected_utc_us.between(
            collected_utc_us - COLLECTING_US, collected_utc_us + COLLECTING_US
        )
    c = tables.classes.c
    wanted = select(_R.id).join(tables.classes, c.id == _R.class_id)
    hall = _R.hall.is_not_distinct_from(timelines.hall_of(row.data))
    return conn.execute(wanted.where(c.plan == row.plan, near, hall).limit(1)).first() is not None


def _collected_near(
    conn: Connection, plan: str, start_utc_us: int | None, collected_utc_us: int
) -> bool:
    """Whether a log of a plan was collected with one, where one of the two tells no start."""
    c, r = tables.classes.c, tables.runs.c
    since, until = collected_utc_us - COLLECTING_US, collected_utc_us + COLLECTING_US
    wanted = select(r.id).join(tables.classes, c.id == r.class_id)
    wanted = wanted.where(c.plan == plan, r.collected_utc_us.between(since, until))
    if start_utc_us is not None:
        wanted = wanted.where(c.start_utc_us.is_(None))
    return conn.execute(wanted.limit(1)).first() is not None
