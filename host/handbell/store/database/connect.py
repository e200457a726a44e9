"""Reaching the database: its address, its engine, and its errors as plain sentences."""

from __future__ import annotations

import os
import random
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, make_url
from sqlalchemy.engine import URL
from sqlalchemy.exc import (
    ArgumentError,
    DBAPIError,
    NoSuchModuleError,
    OperationalError,
    SQLAlchemyError,
)

from handbell.base.errors import HandbellError, StoreError
from handbell.base.extras import install
from handbell.base.files import private_file
from handbell.base.places import STORE, data_folder, named

from .look import in_the_way, read_only

BUSY_MS = 20_000  # how long one program waits for another to finish writing
HALL = "hall"  # in a server's address: ?hall=North
CONNECT_S = 10  # how long a server may take to answer
WAIT_MOST_S = 0.2  # before work is begun anew
TRIES = 5  # of a piece of work that another program's was in the way of
REPAIR = "Put back a backup (handbell store restore FILE), or give another store with --store"
# What a damaged file may lead to before SQLite itself sees that it is.
ODD = (ValueError, LookupError, TypeError, AttributeError, ArithmeticError, SQLAlchemyError)


def address_of(where: str | None) -> URL:
    """Return the address that a word or a file's path means; raises StoreError.

    Without ``where``, the address in HANDBELL_STORE or a file in the user's data folder. A file
    that is reached by a link has its real path, so that a store has one name only.
    """
    address = _named(where)
    if address.get_backend_name() != "sqlite" or not address.database:
        return address
    path = Path(address.database)
    real = Path(os.path.realpath(path))
    return address if real == path.absolute() else address.set(database=str(real))


def link_of(where: str | None) -> Path | None:
    """Return the other name by which a store's file was named, None where it is its own."""
    address = _named(where)
    if address == address_of(where) or not address.database:
        return None
    return Path(address.database)


def _named(where: str | None) -> URL:
    where = where or named(STORE) or str(data_folder() / "store.sqlite")
    if "://" in where:
        try:
            return make_url(where)
        except (ArgumentError, ValueError):
            raise StoreError(
                "The store's address is not one this program can read",
                "Give a file's path or an address like postgresql+psycopg://host/name",
            ) from None
    try:
        path = Path(where).expanduser()
    except RuntimeError:
        raise StoreError(
            f"{where.split('/')[0]} is nobody's folder here", "Give the store's whole path"
        ) from None
    return URL.create("sqlite", database=str(path))


def file_of(address: URL) -> Path | None:
    """Return the file that a store is, None for a server; raises StoreError for a folder."""
    if address.get_backend_name() != "sqlite" or not address.database:
        return None
    path = Path(address.database)
    if path.is_dir():
        raise StoreError(
            f"{path} is a folder, not a store",
            f"Give a file in it, such as {path / 'store.sqlite'}",
        )
    return path


def make_file(path: Path) -> None:
    """Make an empty file for a store, for its owner only: names will stand in it."""
    try:
        private_file(path)
    except OSError as error:
        raise StoreError(
            f"The store {path} can't be made: {error.strerror}",
            "Give another place with --store",
        ) from error


def engine_at(address: URL, reading: Path | None = None) -> Engine:
    """Return an engine for an address; raises StoreError. ``reading``: a file only to be read."""
    options: dict[str, Any] = {}
    kind = address.get_backend_name()
    if kind not in ("sqlite", "postgresql"):
        raise StoreError(
            f"A store can't be kept in a database of this kind ({kind})",
            "Use a file's path for SQLite, or the address of a PostgreSQL server",
        )
    if kind == "postgresql":
        address = address.difference_update_query([HALL])  # ours alone: which hall of a server
        if address.drivername == "postgresql":
            address = address.set(drivername="postgresql+psycopg")
        options["pool_pre_ping"] = True  # the server may have been started again in between
        if "connect_timeout" not in address.query:
            options["connect_args"] = {"connect_timeout": CONNECT_S}
    if reading is not None:
        uri = read_only(reading)
        options["creator"] = lambda: sqlite3.connect(uri, uri=True, check_same_thread=False)
    try:
        engine = create_engine(address, **options)
    except (NoSuchModuleError, ImportError):
        raise StoreError(
            "A store on a PostgreSQL server has no driver here",
            f"{install('server')}, or use a file's path for SQLite",
        ) from None
    if kind == "sqlite":
        event.listen(engine, "connect", _set_up_sqlite if reading is None else _set_up_reading)
        event.listen(engine, "begin", _begin_sqlite)
    return engine


def _set_up_reading(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None
    connection.execute(f"PRAGMA busy_timeout = {BUSY_MS}")


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
            REPAIR,
        ) from error
    except HandbellError:
        raise
    except ODD as error:
        if address.get_backend_name() == "sqlite" and _is_damaged(address.database or ""):
            raise StoreError(f"The store {name} is damaged", REPAIR) from error
        raise


def _is_damaged(database: str) -> bool:
    """Whether SQLite finds a file unsound: then what was read from it may be anything."""
    try:
        with closing(sqlite3.connect(read_only(Path(database)), uri=True)) as db:
            said = db.execute("PRAGMA quick_check(1)").fetchone()[0]
            return said != "ok" and in_the_way(database, said) is None
    except OSError:
        return False
    except (sqlite3.Error, ValueError) as error:  # its words may be no text either
        return in_the_way(database, error) is None


def _of_file(name: str, why: str) -> StoreError:
    known = in_the_way(name, why)
    if known is not None:
        return known
    if "decode" in why:  # it quotes the text
        return StoreError(f"The store {name} is damaged: a text in it is none", REPAIR)
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
