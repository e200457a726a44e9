"""Persons of whom nothing is said any more go, so that no name stays behind."""

from __future__ import annotations

import zlib
from collections.abc import Iterable

from sqlalchemy import Connection, delete, select

from handbell.store.database import tables

from .people import People


def prune(conn: Connection, some: Iterable[str | None]) -> None:
    """Delete those of some persons whom no class, amendment, roster, note or saying names."""
    people = People(conn)
    for person in sorted({people.who(one) or "" for one in some} - {""}):
        ids = [one.id for one in people.records(person)]
        if not _named(conn, ids):
            conn.execute(delete(tables.persons).where(tables.persons.c.id.in_(ids)))


def _named(conn: Connection, ids: list[str]) -> bool:
    w, t = tables.wearers.c, tables.amendments.c
    columns = (w.person, w.said, t.value, t.was)
    for column in (*columns, tables.athletes.c.person, tables.person_notes.c.person):
        if conn.execute(select(column).where(column.in_(ids)).limit(1)).first() is not None:
            return True
    return any(  # what a saying keeps may come back
        one.encode() in zlib.decompress(kept)
        for kept in conn.scalars(select(tables.sayings.c.kept))
        for one in ids
    )
