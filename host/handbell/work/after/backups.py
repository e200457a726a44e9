"""The store's backups: made before what can't be undone, and when asked for; put back."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from sqlalchemy import URL, Table, func, select

from handbell.base.errors import StoreError
from handbell.base.progress import listening
from handbell.store import Store, open_store
from handbell.store.database import backups, tables
from handbell.store.database.connect import address_of, engine_at, file_of, name_of, plainly
from handbell.store.database.look import NoStoreError, is_store, may_write
from handbell.store.database.version import stored_version
from handbell.store.results.checking import Differs, check_counts

NO_SERVER = StoreError(
    "The store is on a server, whose backups are its keeper's",
    "Ask whoever keeps it; for PostgreSQL: pg_dump and pg_restore",
)


@dataclass(frozen=True)
class Checked:
    """What was found in a store: what SQLite says of its file, and logs that are counted otherwise.

    ``unread`` logs could never be read; ``backups`` beside the store may be put back if something
    is wrong, and so may those that were written ``elsewhere``; what is ``gone`` of them is not
    there now. ``notes`` are sentences on what could not be looked at.
    """

    ok: bool
    store: str
    classes: int
    logs: int
    unread: int
    damage: tuple[str, ...]
    differ: tuple[Differs, ...]
    backups: tuple[str, ...]
    elsewhere: tuple[str, ...] = ()
    gone: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Struck:
    """A backup in another place that was deleted, and is not looked for any more."""

    store: str
    backup: str


@dataclass(frozen=True)
class BackedUp:
    """A copy of a store."""

    store: str
    backup: str
    size_bytes: int


@dataclass(frozen=True)
class Restored:
    """A store as a backup had it; ``kept`` is where the one before is, None where none was."""

    store: str
    backup: str
    kept: str | None
    classes: int


def before(store: Store, what: str) -> str | None:
    """Copy a store before something is done to it; return the copy's path.

    None for a store on a server, and for one in which nothing is yet.
    """
    path = file_of(store.engine.url)
    if path is None:
        return None
    with store.reading() as conn:
        filled = [tables.runs, tables.athletes, tables.unread]
        if not any(conn.scalar(select(func.count()).select_from(t)) for t in filled):
            return None
    return str(backups.put_aside(path, what))


def check_store(store_at: str | None = None) -> Checked:
    """Look whether a store is sound, and whether its logs still count to what stands in it."""
    path = file_of(address_of(store_at))
    damage = [] if path is None or not path.exists() else backups.damage_of(path)
    if damage:
        return _with_backups(path, Checked(False, str(path), 0, 0, 0, tuple(damage), (), ()))
    name = name_of(address_of(store_at))
    with _unchanged(store_at, path) as store:
        differ = tuple(check_counts(store))
        classes, logs, unread = (
            _count(store, t) for t in (tables.classes, tables.runs, tables.unread)
        )
        found = Checked(not differ, name, classes, logs, unread, (), differ, ())
    if path is not None and backups.version_of(path) < tables.VERSION:
        found = _as_it_is(path, found)
    return _with_backups(path, found)


def _as_it_is(path: Path, found: Checked) -> Checked:
    """Return what was found in an older store with the classes that it has now, and a note."""
    of = backups.classes_by_log(path)
    version = f"It is of an older handbell (its version {backups.version_of(path)}, here "
    return replace(
        found,
        classes=len(set(of.values()) - {None}),
        differ=tuple(replace(one, class_id=of.get(one.log)) for one in found.differ),
        notes=(
            f"{version}{tables.VERSION}), and was left as it is. "
            + (
                "The next command that opens it brings it up to date, keeps a copy beside it, and "
                "says so where logs go to other classes."
                if may_write(path)
                else "It may not be written, so no other command opens it: copy it to where you "
                "may write, and give the copy with --store."
            ),
        ),
    )


def _with_backups(path: Path | None, found: Checked) -> Checked:
    if path is None:
        return found
    beside = tuple(map(str, backups.backups_of(path)))
    try:
        noted = backups.elsewhere(path)
    except StoreError as error:
        return replace(found, backups=beside, notes=(*found.notes, str(error)))
    gone = tuple(str(one) for one in noted if not one.exists())
    return replace(found, backups=beside, elsewhere=tuple(map(str, noted)), gone=gone)


@contextmanager
def _unchanged(store_at: str | None, path: Path | None) -> Iterator[Store]:
    """Open a store to be counted; a copy where it may not be written or is an older one.

    An older one is brought up to date when it is opened, and its keeper did not ask for that.
    """
    in_copy = False
    if path is not None and is_store(path):
        version = backups.version_of(path)
        in_copy = version < tables.VERSION or (version == tables.VERSION and not may_write(path))
    if path is None:
        _require_current(address_of(store_at))
    if path is None or not in_copy:
        with open_store(store_at, make=False) as store:
            yield store
        return
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy.sqlite"
        backups.copy_to(path, copy)
        with listening():  # what became of the copy is nothing to its keeper
            store = open_store(str(copy))
        with store:
            yield store


def _require_current(server: URL) -> None:
    """Raise StoreError where opening a store on a server would change its tables."""
    engine = engine_at(server)
    try:
        with plainly(server), engine.connect() as conn:
            version = stored_version(conn)
    finally:
        engine.dispose()
    if version is None:
        raise NoStoreError(
            f"There is no store {name_of(server)} yet",
            "handbell collect or handbell roster FILE makes one; or name another with --store",
        )
    if version < tables.VERSION:
        raise StoreError(
            f"The store {name_of(server)} is of an older handbell (its version {version}, here "
            f"{tables.VERSION}), and a check changes nothing",
            "Have it copied by its keeper; then any other command brings it up to date, such as "
            "handbell report --list",
        )


def strike(backup: Path, store_at: str | None = None) -> Struck:
    """Take a backup that was deleted off the list of those in other places; raises StoreError."""
    path = file_of(address_of(store_at))
    if path is None:
        raise NO_SERVER
    backups.strike(path, backup)
    return Struck(str(path), str(backup))


def back_up(where: Path | None = None, store_at: str | None = None) -> BackedUp:
    """Copy a store to a new file, into a folder, or beside itself; raises StoreError."""
    path = file_of(address_of(store_at))
    if path is None:
        raise NO_SERVER
    if not is_store(path):
        open_store(store_at, make=False).close()  # it says that there is none
    copy = backups.back_up(path, where)  # of an older store, too, as it is
    return BackedUp(str(path), str(copy), copy.stat().st_size)


def restore(backup: Path, store_at: str | None = None) -> Restored:
    """Put a backup in the place of the store, which is kept; raises StoreError."""
    path = file_of(address_of(store_at))
    if path is None:
        raise NO_SERVER
    kept = backups.restore(path, backup)
    with open_store(store_at, make=False) as store:
        classes = _count(store, tables.classes)
    return Restored(str(path), str(backup), None if kept is None else str(kept), classes)


def _count(store: Store, table: Table) -> int:
    with store.reading() as conn:
        return int(conn.scalar(select(func.count()).select_from(table)) or 0)
