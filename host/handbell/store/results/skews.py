"""How far apart the boxes of a class were: from their clocks, measured again when collected.

When a box's clock was set it was off by nothing. The first contact after its run, in the same
boot, says what UTC really was by then; between the two a straight line is drawn, and what the box
took the time to be is held against it. How far temperature may have bent the line is in the bound.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import median
from typing import Any

from sqlalchemy import Connection, Row, select

from handbell.base.drift import DAY_US, MOST_PPB, TEMPERATURE_PPB, clock_moved, drift_us
from handbell.store.database import tables
from handbell.store.database.database import Database
from handbell.store.logs import journals


@dataclass(frozen=True)
class RunSkew:
    """One box's clock in a class: by how much it was ahead, in us; below 0 it rang late.

    ``why`` says why nothing is known, "" otherwise; then the ends are None. ``start_us`` alone is
    None for a box that lost power in class and went on by its clock part, or was put in ``late``.
    """

    run: int
    box_id: str
    station: int
    why: str = ""
    start_us: int | None = None
    end_us: int | None = None
    start_bound_us: int = 0
    end_bound_us: int = 0
    measured_utc_us: int = 0
    late: bool = False


@dataclass(frozen=True)
class ClassSkew:
    """The skew of a class: the farthest two boxes were apart, with what it may be wrong by.

    ``None`` where fewer than two boxes are known. With ``relative`` the computer's clock was
    changed, or another computer collected: only differences between boxes mean anything, and
    each box is given against the middle one.
    """

    runs: list[RunSkew]
    start_us: int | None
    end_us: int | None
    start_bound_us: int
    end_bound_us: int
    relative: bool


@dataclass(frozen=True)
class _Point:
    """An instant of a class: which share of the way to the contact it is, and the error there."""

    share: float
    ahead_us: float
    bound_us: int


@dataclass(frozen=True)
class _Measured:
    """What a box's clock was ahead by at the ends of a class; ``start`` None in another boot."""

    blank: RunSkew
    start: _Point | None
    end: _Point
    passed_us: int  # from the setting of its clock to the contact
    moved: bool

    @property
    def by_contact_us(self) -> float:
        """What it was ahead by at the contact, if it went on as it did to the end."""
        return self.end.ahead_us / self.end.share if self.end.share else 0.0

    def less(self, common_us: float) -> RunSkew:
        """Return its skew without what all clocks were ahead by alike at the contact."""
        end = round(self.end.ahead_us - self.end.share * common_us)
        found = replace(self.blank, end_us=end, end_bound_us=self.end.bound_us)
        if self.start is None:
            return found
        start = round(self.start.ahead_us - self.start.share * common_us)
        return replace(found, start_us=start, start_bound_us=self.start.bound_us)


def skew_of_class(store: Database, class_id: int) -> ClassSkew:
    """Return by how much each box of a class was ahead at its start and end."""
    r = tables.runs
    wanted = select(*(c for c in r.c if c.name != "journal")).where(r.c.class_id == class_id)
    with store.reading() as conn:
        rows = conn.execute(wanted.order_by(r.c.station, r.c.id)).all()
        found = [_measured(conn, row) for row in rows]
    met = [one for one in found if isinstance(one, _Measured)]
    relative = any(one.moved for one in met)
    common_us = median(one.by_contact_us for one in met) if relative else 0.0
    runs = [_skew(one, common_us) for one in found]
    start = _spread([(r.start_us, r.start_bound_us) for r in runs if r.start_us is not None])
    end = _spread([(r.end_us, r.end_bound_us) for r in runs if r.end_us is not None])
    return ClassSkew(runs, start[0], end[0], start[1], end[1], relative)


def _spread(known: list[tuple[int, int]]) -> tuple[int | None, int]:
    """Return how far values lie apart, and by how much that may be wrong."""
    if len(known) < 2:
        return None, 0
    values = [value for value, _ in known]
    return max(values) - min(values), sum(sorted(bound for _, bound in known)[-2:])


def _skew(one: _Measured | RunSkew, common_us: float) -> RunSkew:
    """Return a run's skew; what no crystal can have done is not known."""
    if isinstance(one, RunSkew):
        return one
    room_us = drift_us(MOST_PPB, one.passed_us) + one.end.bound_us
    if abs(one.by_contact_us - common_us) > room_us:
        return replace(one.blank, why="this computer's clock was changed between the boxes")
    return one.less(common_us)


def _measured(conn: Connection, row: Row[Any]) -> _Measured | RunSkew:
    """Return what was measured of a run, or a RunSkew that says why nothing was."""
    blank = RunSkew(row.id, row.box_id, row.station, late=row.started_by == journals.LATE)
    if row.clock == "lost":
        return replace(blank, why="it had lost its clock")
    if row.end_box_us is None:
        return replace(blank, why="its log does not say which clock it went by")
    contact = _after(conn, row)
    if contact is None:
        return replace(blank, why=_why_none(conn, row))
    origin = _origin(conn, row)
    passed_us = contact.box_us - row.origin_box_us
    start = None
    if row.start_box_us is not None and not blank.late:
        told_us = _told_start(conn, row)
        start = _point(row, contact, told_us, row.start_box_us)
    return _Measured(
        replace(blank, measured_utc_us=contact.utc_us),
        start,
        _point(row, contact, row.end_utc_us, row.end_box_us),
        passed_us,
        origin is None or clock_moved(origin.ahead_us, contact.ahead_us, passed_us),
    )


def _told_start(conn: Connection, row: Row[Any]) -> int:
    """Return when a run began by its box's clock, whatever date a coach gave it."""
    if row.dated_by is None:
        return int(row.start_utc_us)
    r = tables.runs.c
    journal = conn.scalar(select(r.journal).where(r.id == row.id))
    told = journals.read(bytes(journal or b""), journals.Played(row.timeline, row.station))
    return int(row.start_utc_us if told.start_utc_us is None else told.start_utc_us)


def _point(row: Row[Any], contact: Row[Any], utc_us: int, box_us: int) -> _Point:
    """Return by how much the box was ahead when it took it to be ``utc_us``."""
    passed_us = contact.box_us - row.origin_box_us
    share = min(max(0, box_us - row.origin_box_us), passed_us) / passed_us
    true_us = share * (contact.utc_us - row.origin_utc_us)
    bend_us = drift_us(TEMPERATURE_PPB, passed_us * share * (1 - share))
    bound_us = (1 - share) * (row.bound_us or 0) + share * contact.bound_us + bend_us
    return _Point(share, (utc_us - row.origin_utc_us) - true_us, round(bound_us))


def _after(conn: Connection, row: Row[Any]) -> Row[Any] | None:
    """Return the first contact after a run in the same boot; its number comes again in time."""
    c = tables.contacts.c
    same = select(tables.contacts).where(c.box_id == row.box_id, c.boot == row.boot)
    later = same.where(c.box_us >= row.end_box_us, c.box_us > row.origin_box_us)
    offset_us = row.origin_utc_us - row.origin_box_us
    for contact in conn.execute(later.order_by(c.box_us)):
        if abs(contact.utc_us - contact.box_us - offset_us) <= DAY_US:
            return contact
    return None


def _origin(conn: Connection, row: Row[Any]) -> Row[Any] | None:
    """Return the contact at which the clock of a run was set."""
    c = tables.contacts.c
    query = select(tables.contacts).where(
        c.box_id == row.box_id,
        c.boot == row.boot,
        c.box_us == row.origin_box_us,
        c.utc_us == row.origin_utc_us,
    )
    return conn.execute(query).first()


def _why_none(conn: Connection, row: Row[Any]) -> str:
    c = tables.contacts.c
    later = select(c.boot).where(c.box_id == row.box_id, c.utc_us >= row.end_utc_us)
    if any(boot != row.boot for boot in conn.scalars(later)):
        return "it was switched off after the class, before its clock was measured"
    return "its clock was not measured after the class"
