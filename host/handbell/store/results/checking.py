"""Counting all logs of a store again, to see that what stands in it is what they come to."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table, select

from handbell.base.digest import short_hex
from handbell.base.errors import StoreError
from handbell.store.database import tables
from handbell.store.database.database import Database
from handbell.store.logs import journals, timelines

from .settle import settle

COUNTED = (tables.results, tables.taps, tables.sums, tables.ratings)


@dataclass(frozen=True)
class Differs:
    """A log, or a timeline (``class_id`` None), and what of it stands otherwise in the store."""

    log: str
    class_id: int | None
    what: str


class _OnlyCounted(Exception):
    """Undoes a count."""


def check_counts(store: Database) -> Iterator[Differs]:
    """Yield each log and timeline of which something else stands in the store; nothing changes."""
    t, r = tables.timelines.c, tables.runs.c
    with store.reading() as conn:
        sent = conn.execute(select(t.digest, t.altered).order_by(t.digest)).all()
        runs = conn.execute(select(r.id, r.digest, r.class_id).order_by(r.id)).all()
    for digest, altered in sent:
        with store.reading() as conn:
            what = _of_timeline(conn, digest, altered)
        if what:
            yield Differs(digest, None, what)
    for run, digest, class_id in runs:
        what = _of_run(store, run, digest)
        if what:
            yield Differs(digest, class_id, what)


def _of_timeline(conn: Connection, digest: str, altered: bool) -> str:
    t, k = tables.timelines, tables.tasks
    data = conn.scalar(select(t.c.data).where(t.c.digest == digest))
    try:
        found = timelines.decode(data or b"")
    except StoreError:
        return "its bytes are damaged"
    if not altered and found.digest != digest:
        return "its bytes are others"
    stands = conn.execute(select(k).where(k.c.timeline == digest)).all()
    same = sorted(map(tuple, stands)) == sorted(map(tuple, timelines.task_rows(found, digest)))
    return "" if same else "tasks"


def _of_run(store: Database, run: int, digest: str) -> str:
    """Return what of a log stands otherwise: counted again in a transaction that is undone."""
    said: list[str] = []

    def work(conn: Connection) -> None:
        said[:] = _otherwise(conn, run, digest)
        raise _OnlyCounted

    with suppress(_OnlyCounted):
        store.doing(work)
    return ", ".join(said)


def _otherwise(conn: Connection, run: int, digest: str) -> list[str]:
    """Count a run again in the store, and return which tables had something else of it."""
    journal = conn.scalar(select(tables.runs.c.journal).where(tables.runs.c.id == run))
    if journal is None:
        return []  # taken out meanwhile
    if short_hex(journal) != digest:
        return ["its bytes are others"]
    stood = {table.name: _rows(conn, table, run) for table in COUNTED}
    try:
        settle(conn, run)
    except (StoreError, journals.UnreadableError):
        return ["it can't be read"]
    return [t.name for t in COUNTED if _rows(conn, t, run) != stood[t.name]]


def _rows(conn: Connection, table: Table, run: int) -> list[tuple[Any, ...]]:
    rows = conn.execute(select(table).where(table.c.run == run).order_by(*table.primary_key))
    return [tuple(row) for row in rows]
