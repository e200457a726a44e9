"""Reaching the database: its address, its engine, and its errors as plain sentences."""

from __future__ import annotations

import random
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, make_url
from sqlalchemy.engine import URL
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, OperationalError

from handbell.base.errors import StoreError
from handbell.base.extras import install
from handbell.base.places import STORE, data_folder, named

BUSY_MS = 20_000  # how long one program waits for another to finish writing
CONNECT_S = 10  # how long a server may take to answer
WAIT_MOST_S = 0.2  # before work is begun anew
TRIES = 5  # of a piece of work that another program's was in the way of


def engine_at(where: str | None) -> Engine:
    """Return an engine for an address or a file's path; raises StoreError.

    Without ``where``, the address in HANDBELL_STORE or a file in the user's data folder.
    """
    return _engine(_address(where or named(STORE) or str(data_folder() / "store.sqlite")))


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
    options: dict[str, Any] = {}
    if address.get_backend_name() == "postgresql":
        if address.drivername == "postgresql":
            address = address.set(drivername="postgresql+psycopg")
        options["pool_pre_ping"] = True  # the server may have been started again in between
        if "connect_timeout" not in address.query:
            options["connect_args"] = {"connect_timeout": CONNECT_S}
    try:
        engine = create_engine(address, **options)
    except (NoSuchModuleError, ImportError) as error:
        raise StoreError(
            f"The store's kind of database ({address.drivername}) has no driver here: {error}",
            f"{install('server')}, or use a file's path for SQLite",
        ) from None
    if engine.dialect.name not in ("sqlite", "postgresql"):
        raise StoreError(
            f"A store can't be kept in a database of this kind ({engine.dialect.name})",
            "Use a file's path for SQLite, or the address of a PostgreSQL server",
        )
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    return engine


def _set_up_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None  # begin is said by us: the driver begins too late
    connection.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
    _write_ahead(connection)
    for pragma in (
        "synchronous = FULL",  # a box erases its copy of a log after our commit
        "foreign_keys = ON",
        "secure_delete = ON",  # what is deleted, a name above all, is gone from the file
    ):
        connection.execute(f"PRAGMA {pragma}")


def _write_ahead(connection: sqlite3.Connection) -> None:
    """Have changes logged ahead, so that others may read meanwhile; a file keeps it from then on.

    For a new file several programs may ask for it at once. SQLite tells all but one of them at
    once that the file is locked, whatever their busy_timeout: so waiting is done here.
    """
    until = time.monotonic() + BUSY_MS / 1000
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > until:
                raise
        time.sleep(random.uniform(0, WAIT_MOST_S / 10))


def _begin_sqlite(conn: Connection) -> None:
    writes = conn.get_execution_options().get("handbell_writes")
    conn.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def name_of(address: URL) -> str:
    """Return what to call a store in a sentence: never its password, nor what follows a ``?``."""
    if address.get_backend_name() == "sqlite" and address.database:
        return address.database
    return address.set(password=None, query={}).render_as_string()


def may_go_better_again(error: DBAPIError) -> bool:
    """Whether the same work, begun anew, may succeed: another's was in its way, or a line broke.

    SQLSTATE 40001 and 40P01 (PostgreSQL, appendix A: serialization failure, deadlock).
    """
    state = getattr(error.orig, "sqlstate", None)
    return error.connection_invalidated or state in ("40001", "40P01")


@contextmanager
def plainly(address: URL) -> Iterator[None]:
    """Turn the database's errors into sentences."""
    name = name_of(address)
    try:
        yield
    except DBAPIError as error:
        why = _said(error, address)
        if isinstance(error, OperationalError) and address.get_backend_name() == "sqlite":
            raise _of_file(name, why) from error
        if address.get_backend_name() == "postgresql":
            raise _of_server(name, why, error) from None
        raise StoreError(
            f"The store {name} can't be used: {why}",
            "If the file is damaged, put back a copy of it, or give another with --store",
        ) from error


def _of_file(name: str, why: str) -> StoreError:
    if "locked" in why:
        return StoreError(
            f"The store {name} is busy: another program is writing to it",
            "Wait for it to finish and run this again",
        )
    return StoreError(
        f"The store {name} can't be used: {why}",
        "Check that the place exists and may be written to, or give another with --store",
    )


def _of_server(name: str, why: str, error: DBAPIError) -> StoreError:
    """Return a server's error, without the cause: that may quote the password."""
    if getattr(error.orig, "sqlstate", None) is None or error.connection_invalidated:
        return StoreError(
            f"The store {name} can't be reached: {why}",
            "Check that the server runs and the address and password are right; nothing is lost, "
            "run this again",
        )
    return StoreError(
        f"The store {name} refused: {why}",
        "Ask whoever keeps the server; nothing of this was written",
    )


def _said(error: DBAPIError, address: URL) -> str:
    """Return what a driver says, on one line and without the address's secrets."""
    lines = [line.strip() for line in str(error.orig).splitlines()]
    said = "; ".join(line for line in lines if line)
    for value in address.query.values():
        for secret in (value,) if isinstance(value, str) else value:
            said = said.replace(secret, "...") if len(secret) > 3 else said
    return said.replace(address.password, "...") if address.password else said
