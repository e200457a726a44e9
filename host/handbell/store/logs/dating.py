"""When a run began that tells no date itself, or a wrong one.

A box without a clock tells how long it had been on. Where its own clock was measured in the same
start of it, before or after, that gives the date. What a coach says goes before both.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any, NamedTuple

from sqlalchemy import Connection, select, update

from handbell.base.drift import TEMPERATURE_PPB, TOLERANCE_PPB, drift_us
from handbell.store.database import tables

from .journals import UTC_US, Journal, Played, read

BY_BOX, BY_HAND = "box", "hand"
LATE_US = 60_000_000  # a log may be kept so long before the clock of its box is measured


class Dated(NamedTuple):
    """When a run began, and who says so: its box's clock to within ``bound_us``, or a coach."""

    utc_us: int
    by: str
    bound_us: int | None = None

    def columns(self) -> dict[str, Any]:
        """Return what it makes of a run's row."""
        row = {"dated_utc_us": self.utc_us, "dated_by": self.by, "start_utc_us": self.utc_us}
        if self.by == BY_BOX:  # stays below what a coach says later
            row |= {"by_box_utc_us": self.utc_us, "bound_us": self.bound_us}
        return row


def by_box(conn: Connection, found: Journal, box_id: str, collected_utc_us: int) -> Dated | None:
    """Return when a run without a clock began, None where its box was not measured in that start.

    The bound is the measurement's, and what an unknown crystal makes of the time between.
    """
    if found.start_utc_us is not None or found.start_box_us is None or not found.start_boot:
        return None
    c = tables.contacts.c
    known = (c.box_id == box_id) & (c.utc_us <= collected_utc_us + LATE_US)
    rows = conn.execute(select(tables.contacts).where(known).order_by(c.utc_us)).all()
    measured = _of_boot(rows, found.start_boot)
    if not measured:
        return None
    apart = {row: abs(row.box_us - found.start_box_us) for row in measured}
    best = min(measured, key=lambda row: apart[row])
    utc_us = best.utc_us - (best.box_us - found.start_box_us)
    bound_us = best.bound_us + math.ceil(drift_us(TOLERANCE_PPB + TEMPERATURE_PPB, apart[best]))
    if utc_us not in UTC_US or utc_us > collected_utc_us + bound_us:
        return None
    return Dated(utc_us, BY_BOX, bound_us)


def _of_boot(rows: Sequence[Any], boot: int) -> list[Any]:
    """Return the last contacts of a start, in order; none where starts begin anew after them.

    On a flash that was erased they do, and the same number is another start then.
    """
    of_it = [n for n, row in enumerate(rows) if row.boot == boot]
    if not of_it or any(one.boot > two.boot for one, two in pairwise(rows[of_it[-1] :])):
        return []
    last = rows[of_it[-1]]
    return [
        row
        for row in (rows[n] for n in of_it)
        if abs((last.utc_us - row.utc_us) - (last.box_us - row.box_us)) <= LATE_US
    ]


def date_by_hand(conn: Connection, some: Sequence[int], utc_us: int | None) -> None:
    """Let the first of some runs begin then, or with None each when its log says."""
    r = tables.runs
    wanted = select(r.c.id, r.c.start_utc_us, r.c.box_id, r.c.collected_utc_us, r.c.dated_by)
    rows = conn.execute(wanted.where(r.c.id.in_(some)).order_by(r.c.id)).all()
    first = min((row.start_utc_us for row in rows if row.start_utc_us is not None), default=None)
    for row in rows:
        if utc_us is not None:
            after_us = 0 if row.start_utc_us is None else row.start_utc_us - (first or 0)
            values = Dated(utc_us + after_us, BY_HAND).columns()
        else:
            values = _as_logged(conn, row)
        conn.execute(update(r).where(r.c.id == row.id).values(values))


def _as_logged(conn: Connection, row: Any) -> dict[str, Any]:
    r = tables.runs.c
    wanted = select(r.journal, r.timeline, r.station, r.by_box_utc_us, r.bound_us)
    wanted = wanted.where(r.id == row.id)
    told = conn.execute(wanted).one()
    found = read(bytes(told.journal), Played(told.timeline, told.station))
    by_clock = by_box(conn, found, row.box_id, row.collected_utc_us)
    if by_clock is None and told.by_box_utc_us is not None:  # measured where it was collected
        by_clock = Dated(told.by_box_utc_us, BY_BOX, told.bound_us)
    none = {"dated_utc_us": None, "dated_by": None, "start_utc_us": found.start_utc_us}
    return by_clock.columns() if by_clock else none


def kept(row: Mapping[str, Any]) -> Dated | None:
    """Return what is kept of a run's date, None for nothing."""
    if not row["dated_by"]:
        return None
    return Dated(row["dated_utc_us"], row["dated_by"], row["dated_bound_us"])
