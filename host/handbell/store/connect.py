"""Reaching the database: its address, its engine, and its errors as plain sentences."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, Engine, create_engine, event, make_url
from sqlalchemy.engine import URL
from sqlalchemy.exc import ArgumentError, DatabaseError, NoSuchModuleError, OperationalError

from handbell.errors import StoreError

BUSY_MS = 20_000  # how long one program waits for another to finish writing
ENVIRONMENT = "HANDBELL_STORE"


def engine_at(where: str | None) -> Engine:
    """Return an engine for an address or a file's path; raises StoreError.

    Without ``where``, the address in HANDBELL_STORE or a file in the user's data folder.
    """
    return _engine(_address(where or os.environ.get(ENVIRONMENT) or str(_default_path())))


def _default_path() -> Path:
    from platformdirs import user_data_path

    return Path(os.environ.get("HANDBELL_DATA") or user_data_path("handbell")) / "store.sqlite"


def _address(where: str) -> URL:
    if "://" in where:
        try:
            return make_url(where)
        except ArgumentError:
            raise StoreError(
                "The store's address is not one this program can read",
                "Give a file's path or an address like postgresql+psycopg://host/name",
            ) from None
    path = Path(where).expanduser()
    if path.is_dir():
        raise StoreError(
            f"{path} is a folder, not a store",
            f"Give a file in it, such as {path / 'store.sqlite'}",
        )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(
            f"The folder {path.parent} can't be made: {error.strerror}",
            "Give another place with --store",
        ) from error
    return URL.create("sqlite", database=str(path))


def _engine(address: URL) -> Engine:
    try:
        engine = create_engine(address)
    except (NoSuchModuleError, ImportError) as error:
        raise StoreError(
            f"The store's kind of database ({address.drivername}) has no driver here: {error}",
            "Install its driver, or use a file's path for SQLite",
        ) from error
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    return engine


def _set_up_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None  # begin is said by us: the driver begins too late
    for pragma in (
        f"busy_timeout = {BUSY_MS}",
        "journal_mode = WAL",
        "synchronous = FULL",  # a box erases its copy of a log after our commit
        "foreign_keys = ON",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(conn: Connection) -> None:
    writes = conn.get_execution_options().get("handbell_writes")
    conn.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def name_of(address: URL) -> str:
    """Return what to call a store in a sentence."""
    if address.get_backend_name() == "sqlite" and address.database:
        return address.database
    return address.render_as_string(hide_password=True)


@contextmanager
def plainly(name: str) -> Iterator[None]:
    """Turn the database's errors into sentences."""
    try:
        yield
    except OperationalError as error:
        if "locked" in str(error.orig):
            raise StoreError(
                f"The store {name} is busy: another program is writing to it",
                "Wait for it to finish and run this again",
            ) from error
        raise StoreError(
            f"The store {name} can't be used: {error.orig}",
            "Check that the place exists and may be written to, or give another with --store",
        ) from error
    except DatabaseError as error:
        raise StoreError(
            f"The store {name} can't be used: {error.orig}",
            "If the file is damaged, put back a copy of it, or give another with --store",
        ) from error
