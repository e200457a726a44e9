"""The export for a warehouse: Parquet by hall and month, as engines read it with no import.

``TABLE/hall=NUMBER/month=2026-11/handbell.parquet``; a class is of the month in which it began, in
UTC. The roster has no months. On a server for many halls a hall is that whose part of the store it
is; in a file it is the one that the class's logs tell, ``none`` where they tell none.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from sqlalchemy import Connection, func, select

from handbell.store.database import tables
from handbell.store.database.database import Database
from handbell.store.database.parts import signed
from handbell.store.halls.server import say_hall

from .export import parquet_writer, write_tables
from .rows import Rows
from .schema import TABLES, TableSpec, Wanted, utc

FILE, NO_HALL, ROSTER = "handbell.parquet", "none", "roster"


def export_months(store: Database, folder: Path, names: bool) -> dict[str, int]:
    """Write all halls that this store shows; return rows by table.

    Done again it leaves nothing of months that are gone. Raises HandbellError.
    """
    write = parquet_writer()
    counts: dict[str, int] = {}
    written: set[Path] = set()
    with store.reading() as conn:
        for hall, month, classes in _months(store, conn):

            def where(spec: TableSpec, hall: str = hall, month: str = month) -> Path:
                part = f"hall={hall}" if spec.name == ROSTER else f"hall={hall}/month={month}"
                path = folder / spec.name / part / FILE
                written.add(path)
                return path

            rows = Rows(conn, Wanted(classes, names=names))
            for name, count in write_tables(rows, where, write).items():
                counts[name] = count + (counts.get(name, 0) if name != ROSTER else 0)
    for spec in TABLES:
        for path in (folder / spec.name).glob(f"hall=*/**/{FILE}"):
            if path not in written:
                path.unlink()
    return counts


def _months(store: Database, conn: Connection) -> Iterator[tuple[str, str, frozenset[int]]]:
    """Give the classes of each hall and month; on a server the session is in that hall then."""
    if not store.halls:
        yield from _by_month(conn, None)
    for number in store.halls:
        say_hall(conn, signed(number))
        yield from _by_month(conn, number)


def _by_month(conn: Connection, hall: str | None) -> Iterator[tuple[str, str, frozenset[int]]]:
    c, r = tables.classes.c, tables.runs.c
    began = func.coalesce(c.start_utc_us, c.collected_utc_us)
    told = select(func.max(r.hall)).where(r.class_id == c.id).scalar_subquery()
    found: dict[tuple[str, str], set[int]] = {}
    for row in conn.execute(select(c.id, began.label("began"), told.label("hall"))):
        at = utc(row.began)
        month = f"{at:%Y-%m}" if at else NO_HALL
        found.setdefault((hall or row.hall or NO_HALL, month), set()).add(row.id)
    for (of, month), classes in sorted(found.items()):
        yield of, month, frozenset(classes)
