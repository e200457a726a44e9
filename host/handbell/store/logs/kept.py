"""Plans and timelines as the store keeps them, under the digests that logs carry."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, and_, update

from handbell.store.database import tables
from handbell.store.database.bulk import insert_if_absent, insert_rows

from . import timelines


def put_plan(conn: Connection, row: dict[str, Any]) -> bool:
    """Keep a plan's row, or its text if only a timeline told of it; return whether it was new."""
    t = tables.plans
    if insert_if_absent(conn, t, row):
        return True
    if row["source"] is not None:
        bare = and_(t.c.digest == row["digest"], t.c.source.is_(None), ~t.c.altered)
        conn.execute(update(t).where(bare).values(row))
    return False


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
        return False
    insert_rows(conn, tables.tasks, timelines.task_rows(found, found.digest))
    return True
