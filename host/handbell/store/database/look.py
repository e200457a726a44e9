"""Looking at a file before it is opened: whether it is a store, and not a byte of it changes."""

from __future__ import annotations

import os
import re
import sqlite3
from contextlib import closing
from pathlib import Path

from handbell.base.errors import StoreError

STORE_MARK = 0x68626C73  # SQLite's application_id of a store; older ones have none
TABLES = {"alembic_version", "plans", "timelines", "classes", "runs"}  # of every version
ELSEWHERE = "Give another place with --store"

_MAGIC, _HEAD, _MARK_AT = b"SQLite format 3\0", 100, 68  # SQLite, file format, section 1.3
_IO_ERROR = 10  # SQLITE_IOERR, the low byte of a result code (sqlite.org/rescode.html)
_WAL_MOST = 1 << 26  # bytes that are searched of what was written ahead


class NoStoreError(StoreError):
    """Nothing is there yet."""


class DamagedError(StoreError):
    """A file that is no database, or no sound one: a store it may have been."""


class OutOfReachError(StoreError):
    """A store that may be sound, but something is in the way of reading or writing it."""


# How SQLite's sentences for results that are no damage begin (sqlite.org/rescode.html): its code
# itself is known to Python only since 3.11.
_BUSY = ("is busy: another program is writing to it", "Wait for it to finish and run this again")
_SHUT = ("can't be opened", "See who may read and write it and its folder, or " + ELSEWHERE.lower())
_IN_THE_WAY = {
    "database is locked": _BUSY,
    "database table is locked": _BUSY,
    "locking protocol": _BUSY,
    "attempt to write a readonly database": (
        "may only be read here, not written",
        "See who may write it and its folder, or give another with --store",
    ),
    "database or disk is full": (
        "can't be used: the disk is full",
        "Free some room and run this again",
    ),
    "disk I/O error": (
        "can't be used: its disk does not answer as it should",
        "See that the drive is plugged in and run this again; if it stays so, copy the store to "
        "another drive",
    ),
    "unable to open database file": _SHUT,
    "access permission denied": _SHUT,
}


def in_the_way(name: object, error: object) -> OutOfReachError | None:
    """Return what kept SQLite from a store that may be sound; None for damage and all else."""
    words = str(error)
    page = re.search(r"unable to get the page\. error code=(\d+)", words)  # a check's finding
    if page and int(page[1]) & 0xFF == _IO_ERROR:
        words = "disk I/O error"
    for begins, (what, remedy) in _IN_THE_WAY.items():
        if words.startswith(begins):
            return OutOfReachError(f"The store {name} {what}", remedy)
    return None


def is_store(path: Path) -> bool:
    """Whether a file is a store; False when nothing is there yet.

    Raises StoreError for anything else, and when it can't be read.
    """
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD)
    except FileNotFoundError:
        return False
    except OSError as error:
        raise OutOfReachError(
            f"The store {path} can't be read: {error.strerror}",
            "See who may read it, or give another with --store",
        ) from error
    if not head:
        return False
    if not head.startswith(_MAGIC):
        raise DamagedError(
            f"{path} is no store of handbell, or is damaged",
            f"{ELSEWHERE}; handbell store restore FILE puts a backup back",
        )
    mark = int.from_bytes(head[_MARK_AT : _MARK_AT + 4], "big")
    if mark == STORE_MARK:
        return True
    if mark == 0:
        names = _tables(path)
        if names >= TABLES:
            return True
        if not names:
            return False
    raise StoreError(f"{path} is a database of something else", ELSEWHERE)


def may_write(path: Path) -> bool:
    """Whether a store may be written: beside it, too, where SQLite writes ahead."""
    return os.access(path, os.W_OK) and os.access(path.absolute().parent, os.W_OK)


def read_only(path: Path) -> str:
    """Return the URI by which SQLite reads a file where nothing may be written.

    Without a file of what was written ahead nobody is writing, and SQLite need not make one.
    """
    return f"{path.absolute().as_uri()}?mode=ro{'' if _written_ahead(path) else '&immutable=1'}"


def _written_ahead(path: Path) -> Path | None:
    wal = path.with_name(path.name + "-wal")
    return wal if wal.exists() and wal.stat().st_size else None


def _tables(path: Path) -> set[str]:
    """Return the tables of a database; ``immutable`` keeps SQLite from making files beside it."""
    uri = f"{path.absolute().as_uri()}?mode=ro&immutable=1"
    try:
        with closing(sqlite3.connect(uri, uri=True)) as db:
            rows = db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            names = {str(name) for (name,) in rows}
    except (sqlite3.Error, ValueError) as error:
        raise in_the_way(path, error) or DamagedError(
            f"{path} can't be used: {error}",
            "If it was a store: handbell store restore FILE puts a backup back",
        ) from error
    wal = _written_ahead(path)
    if wal is not None and not names >= TABLES:
        names |= _tables_ahead(wal)
    return names


def _tables_ahead(wal: Path) -> set[str]:
    """Return which of our tables a new store has that was not closed yet, or some other name."""
    with wal.open("rb") as file:
        ahead = file.read(_WAL_MOST)
    found = {name for name in TABLES if f"CREATE TABLE {name} (".encode() in ahead}
    return found or {"unknown"}
