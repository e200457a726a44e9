"""Forgetting in a backup, whatever version of the store it is a copy of."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from .names import key_of
from .redact import without_name, without_name_in_timeline

PLANS = ("plans", "timelines", "tasks")
_NOBODY = {"name": None, "said": ""}  # as in ``forget``: somebody spoke of that bib
NAMES = {("athletes", "name"), ("athletes", "key"), ("wearers", "name"), ("wearers", "said")}


def forget_in_backup(path: Path, name: str, dry_run: bool, keep_plans: bool) -> bool:
    """Take a name out of an SQLite backup; return whether it stood there. Raises OSError."""
    try:
        with closing(sqlite3.connect(path, isolation_level=None)) as db:
            db.execute("PRAGMA secure_delete = ON")
            db.execute("BEGIN IMMEDIATE")
            found = sum(
                _in_column(db, table, column, name)
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


def _columns(db: sqlite3.Connection) -> list[tuple[str, str]]:
    """Return every column of free text, and the timelines' bytes."""
    tables = [row[0] for row in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    found = []
    for table in tables:
        for _, column, kind, *_ in db.execute(f'PRAGMA table_info("{table}")').fetchall():
            if kind == "TEXT" or (table, column) == ("timelines", "data"):
                found.append((table, column))
    return found


def _in_column(db: sqlite3.Connection, table: str, column: str, name: str) -> int:
    count = 0
    rows = db.execute(f'SELECT rowid, "{column}" FROM "{table}"').fetchall()
    for rowid, value in rows:
        if (table, column) in NAMES:
            if value and key_of(value) == key_of(name):
                _unname(db, table, column, rowid)
                count += 1
            continue
        changed: str | bytes | None = None
        if isinstance(value, str):
            changed = without_name(value, name)
        elif isinstance(value, bytes):
            changed = without_name_in_timeline(value, name)
        if changed is not None:
            words = f'UPDATE "{table}" SET "{column}" = ? WHERE rowid = ?'
            db.execute(words, (changed, rowid))
            count += 1
    return count


def _unname(db: sqlite3.Connection, table: str, column: str, rowid: int) -> None:
    if table == "athletes":
        db.execute("DELETE FROM athletes WHERE rowid = ?", (rowid,))
    else:
        nobody = _NOBODY[column]
        db.execute(f'UPDATE "{table}" SET "{column}" = ? WHERE rowid = ?', (nobody, rowid))
