"""Bringing a store up to the newest version, after a copy of it was put aside."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, text

from handbell.base.progress import tell

from .classes import joining
from .database import tables
from .database.backups import put_aside
from .database.database import Database
from .database.look import STORE_MARK
from .database.version import stored_version
from .halls.server import changing_tables, hall_by_hall
from .results.settle import settle_all

DERIVED_SINCE = "0015"  # the last step that changed what is made again, or how logs are filed
ONE_AT_A_TIME = 0x68626C  # the number of the lock that a server gives to one program only

SCRIPTS = Path(__file__).parent / "database" / "migrations"


def migrate(store: Database) -> Path | None:
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
            backup = put_aside(Path(database), tables.VERSION)
        config.attributes["connection"] = conn
        if conn.dialect.name == "sqlite":
            conn.exec_driver_sql(f"PRAGMA application_id = {STORE_MARK}")
        with changing_tables(conn):
            command.upgrade(config, tables.VERSION)
        if version is not None and version < DERIVED_SINCE:
            hall_by_hall(conn, lambda: _make_again(conn, backup))
    return backup


def _make_again(conn: Connection, backup: Path | None) -> None:
    settle_all(conn)
    moved = joining.file_all(conn)
    if moved:
        kept = "" if backup is None else f" The store as it was before: {backup}."
        tell(f"The store was brought up to date, and logs in it filed anew.{kept}", *moved)
