"""Copies of a store that is a file: made whole, found again, put in its place."""

from __future__ import annotations

import contextlib
import glob
import json
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import datetime, timezone
from pathlib import Path

from handbell.base.errors import StoreError
from handbell.base.files import beside, private_file, require_name, write_whole
from handbell.base.places import data_folder

from . import tables
from .look import DamagedError, in_the_way, is_store, may_write, read_only

ROOM = "See that the folder may be written and has room, or name another place"
UNLISTED = (
    "It lists the backups in other places: take it away, and name those yourself where a person is "
    "to be forgotten (handbell forget NAME --store FILE)"
)
BEFORE, ASKED = "before", "backup"  # made by itself before something; asked for


def backups_of(path: Path) -> list[Path]:
    """Return the copies beside a store, also those that older versions made."""
    stem, end = glob.escape(path.stem), glob.escape(path.suffix)
    return sorted(
        found for how in (BEFORE, ASKED) for found in path.parent.glob(f"{stem}-{how}-*{end}")
    )


def put_aside(path: Path, before: str) -> Path:
    """Copy a store beside itself before something is done to it; return the copy's path."""
    copy = _free_name(path, path.parent, f"{BEFORE}-{before}")
    copy_to(path, copy)
    return copy


def back_up(path: Path, where: Path | None) -> Path:
    """Copy a store to a new file, into a folder, or beside itself; return the copy's path.

    One elsewhere is kept in mind, so that a person can be forgotten there, too. Raises StoreError.
    """
    if where is not None:
        require_name(where)
    if where is None or where.is_dir():
        copy = _free_name(path, where or path.parent, ASKED)
    else:
        copy = where
    if copy.exists():
        raise StoreError(f"{copy} is there already", "Name a new file, or a folder")
    if where is not None:
        _told()  # that it can be read is seen before anything is written
    copy_to(path, copy)
    if copy.absolute() not in [found.absolute() for found in backups_of(path)]:
        _remember(path, copy.absolute())
    return copy


def _free_name(path: Path, folder: Path, how: str) -> Path:
    day = datetime.now(timezone.utc).date().isoformat()
    names = (f"{path.stem}-{how}-{day}{n}{path.suffix}" for n in _endings())
    return next(folder / name for name in names if not (folder / name).exists())


def _endings() -> Iterator[str]:
    yield ""
    again = 1
    while True:
        again += 1
        yield f"-{again}"


def copy_to(path: Path, target: Path) -> None:
    """Copy a store as it is at one moment, for its owner only; raises StoreError."""
    part = beside(target)
    try:
        private_file(part)
        with closing(_opened(path)) as old, closing(sqlite3.connect(part)) as new:
            old.backup(new)
            new.execute("PRAGMA journal_mode = DELETE")  # so that it is one file alone
        part.replace(target)
    except (OSError, ValueError, sqlite3.Error) as error:
        why = getattr(error, "strerror", None) or error
        raise StoreError(f"The copy {target} of the store can't be made: {why}", ROOM) from error
    finally:
        for end in ("", "-journal", "-wal", "-shm"):
            with contextlib.suppress(OSError):
                part.with_name(part.name + end).unlink(missing_ok=True)


def _opened(path: Path) -> sqlite3.Connection:
    uri = f"{path.absolute().as_uri()}?mode=rw" if may_write(path) else read_only(path)
    return sqlite3.connect(uri, uri=True)


def damage_of(path: Path) -> list[str]:
    """Return what SQLite finds wrong in a store's file.

    Raises StoreError for no store, and where something else keeps it from being looked at.
    """
    is_store(path)
    try:
        with closing(_opened(path)) as db:
            found = [str(row[0]) for row in db.execute("PRAGMA integrity_check(20)")]
            strays = db.execute("PRAGMA foreign_key_check").fetchall()
    except (sqlite3.Error, ValueError) as error:
        known = in_the_way(path, error)
        if known is not None:
            raise known from error
        return [str(error)]
    for words in found:
        known = in_the_way(path, words)
        if known is not None:
            raise known
    lost = [f"a row of {table} belongs to none of {to}" for table, _, to, _ in strays[:20]]
    return [words for words in found if words != "ok"] + lost


def restore(path: Path, backup: Path) -> Path | None:
    """Put a backup in the place of a store; return where what was there is kept, if anything was.

    Raises StoreError when the backup is no sound store, or another program uses the store.
    """
    if not is_store(backup):
        raise StoreError(f"{backup} is no store", "Name a file that handbell store backup wrote")
    if path.exists() and path.samefile(backup):
        raise StoreError(f"{backup} is the store itself", "Name a backup of it")
    wrong = damage_of(backup)
    if wrong:
        raise StoreError(f"{backup} is damaged: {wrong[0]}", "Name another backup")
    if version_of(backup) > tables.VERSION:
        raise StoreError(f"{backup} was written by a newer handbell", "Update this program first")
    part = beside(path)
    copy_to(backup, part)
    try:
        kept = _out_of_the_way(path)
        part.replace(path)
    except OSError as error:
        raise StoreError(
            f"The store {path} can't be replaced: {error.strerror or error}", ROOM
        ) from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
    return kept


def version_of(path: Path) -> str:
    """Return which version a store says it has, as it stands there; raises StoreError."""
    try:
        with closing(_opened(path)) as db:
            return str(db.execute("SELECT max(version_num) FROM alembic_version").fetchone()[0])
    except (sqlite3.Error, ValueError) as error:
        raise in_the_way(path, error) or StoreError(
            f"{path} does not say which version of a store it is",
            "If it is damaged: handbell store restore FILE puts a backup back",
        ) from error


def classes_by_log(path: Path) -> dict[str, int | None]:
    """Return the class of each log, by its digest, as a store of any version has it."""
    with closing(_opened(path)) as db:
        return dict(db.execute("SELECT digest, class_id FROM runs").fetchall())


def _out_of_the_way(path: Path) -> Path | None:
    """Give a store another name with all that belongs to it; return that, None without a store."""
    if not path.exists() or not path.stat().st_size:
        return None
    with contextlib.suppress(DamagedError):  # that is kept as it is
        if is_store(path):
            _close_ahead(path)
    kept = _free_name(path, path.parent, f"{BEFORE}-restore")
    for end in ("-wal", "-shm", ""):
        beside_it = path.with_name(path.name + end)
        if beside_it.exists():
            beside_it.replace(kept.with_name(kept.name + end))
    return kept


def _close_ahead(path: Path) -> None:
    """Take into the file what was written ahead; raises StoreError where another uses it."""
    try:
        with closing(sqlite3.connect(path, timeout=1)) as db:
            db.execute("PRAGMA journal_mode = DELETE")
    except sqlite3.Error as error:
        if "locked" in str(error):
            raise StoreError(
                f"The store {path} is in use", "End what uses it and run this again"
            ) from error


def elsewhere(path: Path) -> list[Path]:
    """Return the backups of a store that were written to other places; some may be gone.

    Also those beside a link by which older versions knew it. Raises StoreError when the list of
    them can't be read.
    """
    told = _told()
    names = _names_of(path, told)
    links = [Path(name) for name in names if Path(name) != path.absolute()]
    noted = [Path(one) for name in names for one in told[name]]
    return list(dict.fromkeys([*noted, *(copy for link in links for copy in backups_of(link))]))


def strike(path: Path, copy: Path) -> None:
    """Take a backup that was deleted off the list of those in other places; raises StoreError."""
    told = _told()
    same = [store for store in _names_of(path, told) if os.fspath(copy.absolute()) in told[store]]
    if not same:
        raise StoreError(
            f"{copy} is no backup that was written to another place",
            "handbell store check lists them",
        )
    if copy.exists():
        raise StoreError(f"{copy} is still there", "Delete it first")
    for store in same:
        told[store].remove(os.fspath(copy.absolute()))
    _write(told)


def _list() -> Path:
    return data_folder() / "backups.json"


def _names_of(path: Path, told: dict[str, list[str]]) -> list[str]:
    """Return by which names a store is on the list: older versions wrote a link's name, too."""
    return [store for store in told if os.path.realpath(store) == os.path.realpath(path)]


def _told() -> dict[str, list[str]]:
    try:
        told = json.loads(_list().read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise StoreError(f"{_list()} can't be read: {error.strerror}", UNLISTED) from error
    except (ValueError, RecursionError) as error:
        raise StoreError(f"{_list()} can't be read", UNLISTED) from error
    lists = told.values() if isinstance(told, dict) else [None]
    if not all(isinstance(some, list) and all(isinstance(s, str) for s in some) for some in lists):
        raise StoreError(f"{_list()} can't be read", UNLISTED)
    return dict(told)


def _remember(path: Path, copy: Path) -> None:
    told = _told()
    noted = [one for name in _names_of(path, told) for one in told[name]]
    told[os.fspath(path.absolute())] = list(dict.fromkeys([*noted, os.fspath(copy)]))
    _write(told)


def _write(told: dict[str, list[str]]) -> None:
    # Letters as escapes: a file's name may hold bytes that are none in UTF-8.
    write_whole(_list(), json.dumps(told, indent=1), private=True)
