"""Bringing a store up to the newest version, after a copy of it was put aside."""

from __future__ import annotations

import glob
import sqlite3
from contextlib import closing
from datetime import datetime, timezone
from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import text

from handbell.store.classes import joining
from handbell.store.results.settle import settle_all
from handbell.store.store import Store, stored_version

from . import tables

DERIVED_SINCE = "0005"  # the step that brought what is made again from journals and timelines
ONE_AT_A_TIME = 0x68626C  # the number of the lock that a server gives to one program only

SCRIPTS = Path(__file__).parent / "migrations"


def migrate(store: Store) -> Path | None:
    """Run the missing steps in one transaction; return the backup's path, None without one.

    An SQLite file that holds anything is first copied beside itself; the copy is kept. Two
    programs may try at once: the second finds the work done.
    """
    config = Config()
    config.set_main_option("script_location", str(SCRIPTS).replace("%", "%%"))
    config.set_main_option("version_locations", str(SCRIPTS / "versions").replace("%", "%%"))
    config.set_main_option("path_separator", "newline")
    backup = None
    with store.writing() as conn:
        if conn.dialect.name == "postgresql":
            conn.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": ONE_AT_A_TIME})
        version = stored_version(conn)
        if version == tables.VERSION:
            return None
        database = store.engine.url.database
        if version is not None and store.engine.dialect.name == "sqlite" and database:
            backup = _put_aside(Path(database))
        config.attributes["connection"] = conn
        command.upgrade(config, tables.VERSION)
        if version is not None and version < DERIVED_SINCE:
            joining.file_again(conn, settle_all(conn))
    return backup


def backups_of(path: Path) -> list[Path]:
    """Return the copies that were put aside of an SQLite file, also by older versions."""
    return sorted(path.parent.glob(f"{glob.escape(path.stem)}-before-*{glob.escape(path.suffix)}"))


def _put_aside(path: Path) -> Path:
    """Copy an SQLite file beside itself under a name with the date, and return that name."""
    day = datetime.now(timezone.utc).date().isoformat()
    backup = path.with_name(f"{path.stem}-before-{tables.VERSION}-{day}{path.suffix}")
    again = 1
    while backup.exists():
        again += 1
        backup = path.with_name(f"{path.stem}-before-{tables.VERSION}-{day}-{again}{path.suffix}")
    fresh = backup.with_name(backup.name + ".part")
    with closing(sqlite3.connect(path)) as old, closing(sqlite3.connect(fresh)) as new:
        old.backup(new)
    fresh.replace(backup)
    return backup
