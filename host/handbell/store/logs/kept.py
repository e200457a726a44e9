"""Plans and timelines as the store keeps them, under the digests that logs carry."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, and_, delete, select, update

from handbell.store.database import tables
from handbell.store.database.bulk import insert_if_absent, insert_rows
from handbell.store.people.redact import may_be_one_text, may_be_one_timeline
from handbell.store.results.settle import settle

from . import timelines


def put_plan(conn: Connection, row: dict[str, Any]) -> bool:
    """Keep a plan's row, or its text if only a timeline told of it; return whether it was new."""
    t = tables.plans
    if insert_if_absent(conn, t, row):
        return True
    if row["source"] is not None:
        bare = and_(t.c.digest == row["digest"], t.c.source.is_(None), ~t.c.altered)
        conn.execute(update(t).where(bare).values(row))
        if not row.get("altered"):
            _right_plan(conn, row)
    return False


def _right_plan(conn: Connection, row: dict[str, Any]) -> None:
    """Put a plan's own text in the place of one that only claims to be it without names."""
    p = tables.plans
    mine = p.c.digest == row["digest"]
    here = conn.scalar(select(p.c.source).where(mine, p.c.altered))
    if here is not None and not may_be_one_text(here, row["source"]):
        conn.execute(update(p).where(mine).values(row | {"altered": False}))


def put_timeline(
    conn: Connection, found: timelines.Timeline, data: bytes, altered: bool = False
) -> bool:
    """Keep a timeline, its plan's digest and title, and what it asks of each bib.

    Return whether it was new. ``altered``: a name was taken out, ``found.digest`` is the old one.
    """
    plan = {"digest": found.plan, "title": found.title, "source": None}
    insert_if_absent(conn, tables.plans, plan)
    row = {
        "digest": found.digest,
        "plan": found.plan,
        "station": found.station,
        "label": found.label,
        "data": data,
        "altered": altered,
    }
    if not insert_if_absent(conn, tables.timelines, row):
        if not altered:
            _right_timeline(conn, row, found)
        return False
    insert_rows(conn, tables.tasks, timelines.task_rows(found, found.digest))
    return True


def _right_timeline(conn: Connection, row: dict[str, Any], found: timelines.Timeline) -> None:
    """Put a timeline's own bytes in the place of what only claims to be it without names.

    What was counted by that is counted anew.
    """
    t, k, r = tables.timelines, tables.tasks, tables.runs
    here = conn.scalar(select(t.c.data).where(t.c.digest == found.digest, t.c.altered))
    if here is None or may_be_one_timeline(bytes(here), row["data"]):
        return
    insert_if_absent(conn, tables.plans, {"digest": found.plan, "title": found.title})
    conn.execute(update(t).where(t.c.digest == found.digest).values(row))
    conn.execute(delete(k).where(k.c.timeline == found.digest))
    insert_rows(conn, k, timelines.task_rows(found, found.digest))
    conn.execute(update(r).where(r.c.timeline == found.digest).values(hall=found.hall))
    for run in conn.scalars(select(r.c.id).where(r.c.timeline == found.digest)).all():
        settle(conn, run)
