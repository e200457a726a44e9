"""Forgetting a person: the name goes from every table and from free text.

What was counted stays, by bib number; nothing links it to the person any more.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Table, delete, select, text, update
from sqlalchemy.exc import DBAPIError

from handbell.base.errors import UsageError
from handbell.store.database import tables
from handbell.store.database.bulk import insert_if_absent, insert_rows
from handbell.store.database.database import Database
from handbell.store.logs import timelines
from handbell.store.results.amend import settle_name
from handbell.store.results.sayings import packed, unpacked
from handbell.store.results.settle import NAME

from .names import key_of, plain_text
from .redact import without_name, without_name_in_timeline

SHORTEST = 2
# Columns in which a coach may have written a name among other words.
FREE_WORDS: tuple[tuple[Table, tuple[str, ...]], ...] = (
    (tables.boxes, ("label",)),
    (tables.notes, ("words",)),
    (tables.amendments, ("who", "why", "undone_by")),
    (tables.athletes, ("group_name",)),
)
SWEPT = "athletes wearers amendments plans timelines tasks notes boxes sayings"


_NOBODY = {"name": None, "said": ""}  # so that an unnamed bib is not one of which nobody spoke


@dataclass
class Forgotten:
    """Where a name stood, or stands: rows by table, backups, files; and what could not be done."""

    name: str
    rows: dict[str, int] = field(default_factory=dict)
    backups: list[str] = field(default_factory=list)
    files: list[str] = field(default_factory=list)  # see ``forget_in_files``
    warnings: list[str] = field(default_factory=list)

    def count(self, table: Table, rows: int = 1) -> None:
        """Count rows of a table in which it stood."""
        if rows:
            self.rows[table.name] = self.rows.get(table.name, 0) + rows


class _OnlyLooked(Exception):
    """Undoes the work of a dry run."""


def forget(
    store: Database, name: str, dry_run: bool = False, keep_plans: bool = False
) -> Forgotten:
    """Forget a person; doing it twice does no harm. With ``dry_run`` only say where it stands.

    ``keep_plans`` leaves the words of plans and timelines alone: a name may be an exercise's too.
    Raises UsageError for no name at all or a single letter.
    """
    plain = plain_text(name)
    if len(plain) < SHORTEST:
        raise UsageError(f"{name[:20]!r} is no name to look for", "Give the whole name")
    found = Forgotten(plain)

    def work(conn: Connection) -> None:
        found.rows.clear()
        _take_out(conn, found, keep_plans)
        if dry_run:
            raise _OnlyLooked

    try:
        store.doing(work)
    except _OnlyLooked:
        pass
    else:
        _sweep(store, found)
    return found


def _take_out(conn: Connection, found: Forgotten, keep_plans: bool) -> None:
    key = key_of(found.name)
    gone = conn.execute(delete(tables.athletes).where(tables.athletes.c.key == key))
    found.count(tables.athletes, gone.rowcount)
    _from_wearers(conn, found, key)
    _from_sayings(conn, found, key)
    for table, columns in FREE_WORDS:
        for column in columns:
            _from_words(conn, found, table, column)
    if not keep_plans:
        for column in ("title", "source"):
            _from_words(conn, found, tables.plans, column, altered=True)
        _from_timelines(conn, found)


def _from_wearers(conn: Connection, found: Forgotten, key: str) -> None:
    """Unname the bibs and the amendments that gave the name: what they say is nobody's now.

    An amendment in force stays, so that a name said before it does not come back to results of
    which it was said that they are another's; and an unnamed bib stays one that somebody spoke of.
    """
    a, r, w = tables.amendments, tables.runs, tables.wearers
    touched: set[tuple[int, int]] = set()
    unnamed: set[tuple[int, int]] = set()
    given = select(a, r.c.class_id).join(r, r.c.id == a.c.run).where(a.c.what == NAME)
    for row in conn.execute(given).all():
        mine = {what: "" for what in ("value", "was") if key_of(getattr(row, what)) == key}
        if not mine:
            continue
        this = a.c.digest == row.digest
        if "value" in mine and row.undone_utc_us is not None:
            conn.execute(delete(a).where(this))
        else:
            conn.execute(update(a).where(this).values(mine))
        found.count(a)
        touched.add((row.class_id, row.bib))
    for row in conn.execute(select(w)).all():
        names = {"name": row.name, "said": row.said}
        gone = {what: _NOBODY[what] for what, name in names.items() if name and key_of(name) == key}
        if gone:
            there = w.c.class_id == row.class_id, w.c.bib == row.bib
            conn.execute(update(w).where(*there).values(gone))
            found.count(w)
            unnamed.add((row.class_id, row.bib))
    for class_id, bib in sorted(touched):
        settle_name(conn, class_id, bib)
    for class_id, bib in sorted(unnamed):
        insert_if_absent(conn, w, {"class_id": class_id, "bib": bib, "absent": False})


def _from_sayings(conn: Connection, found: Forgotten, key: str) -> None:
    """Take the name out of what is kept of sayings, so that taking one back brings none back."""
    s = tables.sayings

    def plain(value: Any) -> Any:
        if isinstance(value, dict):
            return {
                field: _NOBODY[field] if _is(field, one) else plain(one)
                for field, one in value.items()
            }
        if isinstance(value, list):
            return [plain(one) for one in value]
        if not isinstance(value, str):
            return value
        without = without_name(value, found.name)
        return value if without is None else "" if key_of(value) == key else without

    def _is(field: str, value: Any) -> bool:
        return field in _NOBODY and isinstance(value, str) and key_of(value) == key

    for number, kept in conn.execute(select(s.c.id, s.c.kept)).all():
        was = unpacked(kept)
        now = plain(was)
        if now != was:
            conn.execute(update(s).where(s.c.id == number).values(kept=packed(now)))
            found.count(s)


def _from_words(
    conn: Connection, found: Forgotten, table: Table, column: str, altered: bool = False
) -> None:
    keys = list(table.primary_key)
    for row in conn.execute(select(*keys, table.c[column].label("words"))).all():
        plain = without_name(row.words or "", found.name)
        if plain is not None:
            values = {column: plain} | ({"altered": True} if altered else {})
            this = [key == value for key, value in zip(keys, row, strict=False)]
            conn.execute(update(table).where(*this).values(values))
            found.count(table)


def _from_timelines(conn: Connection, found: Forgotten) -> None:
    """Put dashes for the name; the digest stays what it was, so that logs still find it."""
    t, k = tables.timelines, tables.tasks
    for digest, data in conn.execute(select(t.c.digest, t.c.data)).all():
        changed = without_name_in_timeline(data, found.name)
        if changed is None:
            continue
        told = timelines.decode(changed)
        values = {"data": changed, "label": told.label, "altered": True}
        conn.execute(update(t).where(t.c.digest == digest).values(values))
        conn.execute(delete(k).where(k.c.timeline == digest))
        insert_rows(conn, k, timelines.task_rows(told, digest))
        found.count(t)


def _sweep(store: Database, found: Forgotten) -> None:
    """Write anew what deleted rows stood in, so that none of their bytes stay in the files."""
    server = store.engine.dialect.name == "postgresql"
    todo = [f"VACUUM FULL {name}" for name in SWEPT.split()] if server else ["VACUUM"]
    alone = store.engine.execution_options(isolation_level="AUTOCOMMIT") if server else store.engine
    try:
        with alone.connect() as conn:
            for words in todo:
                if server:
                    conn.execute(text(words))
                else:
                    conn.connection.cursor().execute(words)
            if not server:
                busy = conn.connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
                if busy.fetchone()[0]:
                    raise TimeoutError("another program is reading it")
    except (DBAPIError, sqlite3.Error, OSError) as error:
        why = str(getattr(error, "orig", error)).splitlines()[0]
        found.warnings.append(
            f"The name is gone from the store, its last bytes perhaps not from the files: {why}. "
            "Run forget again when nothing else uses the store."
        )
