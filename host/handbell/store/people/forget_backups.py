"""Forgetting in a backup, whatever version of the store it is a copy of."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection
from contextlib import closing
from pathlib import Path

from .names import key_of
from .redact import without_name, without_name_in_timeline
from .redact_sayings import NOBODY, without_in_saying

PLANS = ("plans", "timelines", "tasks")
NAMES = {("athletes", "name"), ("athletes", "key")}  # of earlier versions
IDS = {("persons", "id"), ("athletes", "person"), ("person_notes", "person")}
WORN = {("wearers", what) for what in NOBODY}
AMENDED = {("amendments", "value"), ("amendments", "was")}
# Whole names and ids: of somebody else's name no part is taken out.
WHOLE = NAMES | IDS | WORN | AMENDED | {("persons", "name")}
BYTES = {("timelines", "data"), ("sayings", "kept")}


def forget_in_backup(
    path: Path, name: str, dry_run: bool, keep_plans: bool, ids: Collection[str] = ()
) -> bool:
    """Take a name out of an SQLite backup; return whether it stood there. Raises OSError.

    ``ids`` are those that the store had for the person, who may be called otherwise there.
    """
    try:
        with closing(sqlite3.connect(path, isolation_level=None)) as db:
            db.execute("PRAGMA secure_delete = ON")
            db.execute("BEGIN IMMEDIATE")
            theirs = _ids(db, name, ids)
            found = sum(
                _in_column(db, table, column, name, theirs)
                for table, column in _columns(db)
                if not (keep_plans and table in PLANS)
            )
            db.execute("ROLLBACK" if dry_run else "COMMIT")
            if not dry_run:
                db.execute("VACUUM")
                db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    except sqlite3.Error as error:
        raise OSError(str(error)) from error
    return found > 0


def _ids(db: sqlite3.Connection, name: str, ids: Collection[str]) -> set[str]:
    """Return the ids that a backup has for a person; by the name where the store knows none.

    Who came after the backup is not in it, whoever else was called so then.
    """
    there = db.execute("SELECT 1 FROM sqlite_master WHERE name = 'persons'").fetchone()
    if there is None:
        return set()
    rows = db.execute("SELECT id, name, same FROM persons").fetchall()
    mine = {same or record for record, _, same in rows if record in ids}
    named = {same or record for record, called, same in rows if key_of(called) == key_of(name)}
    return {record for record, _, same in rows if (same or record) in (mine if ids else named)}


def _columns(db: sqlite3.Connection) -> list[tuple[str, str]]:
    """Return every column of text, and the timelines' and sayings' bytes."""
    tables = [row[0] for row in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    found = []
    for table in tables:
        for _, column, kind, *_ in db.execute(f'PRAGMA table_info("{table}")').fetchall():
            of_person = (table, column) in IDS
            if kind == "TEXT" or of_person or (table, column) in BYTES:
                found.append((table, column))
    return found


def _in_column(
    db: sqlite3.Connection, table: str, column: str, name: str, ids: Collection[str]
) -> int:
    count, place = 0, (table, column)
    for rowid, value in db.execute(f'SELECT rowid, "{column}" FROM "{table}"').fetchall():
        mine = isinstance(value, str) and (value in ids or key_of(value) == key_of(name))
        if mine and place in NAMES | IDS:
            db.execute(f'DELETE FROM "{table}" WHERE rowid = ?', (rowid,))
            count += 1
            continue
        changed: str | bytes | None = None
        if mine and place in WORN | AMENDED:
            changed = NOBODY.get(column, "")
        elif isinstance(value, str) and place not in WHOLE:
            changed = without_name(value, name)
        elif isinstance(value, bytes) and table == "sayings":
            changed = without_in_saying(value, name, ids)
        elif isinstance(value, bytes):
            changed = without_name_in_timeline(value, name)
        if changed is not None or (mine and place in WORN):
            words = f'UPDATE "{table}" SET "{column}" = ? WHERE rowid = ?'
            db.execute(words, (changed, rowid))
            count += 1
    return count
