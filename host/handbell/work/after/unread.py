"""Logs that can't be read: listed, tried again, put back, written to a file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from handbell.base.errors import HandbellError
from handbell.base.files import write_whole
from handbell.store import Ingested, Store, open_store
from handbell.store.logs import salvage
from handbell.store.results.queries import load_row


@dataclass(frozen=True)
class Log:
    """A log that is kept aside, and why."""

    log: str
    box: str
    reason: str
    bytes: int


@dataclass(frozen=True)
class Read:
    """A log that was read after all; ``notes`` are sentences on it."""

    run_id: int
    class_id: int | None
    notes: tuple[str, ...]


@dataclass(frozen=True)
class ReadAs:
    """The class that a log was said to be of; ``start_utc_us`` None: no box had a clock."""

    class_id: int
    title: str
    start_utc_us: int | None
    collected_utc_us: int


@dataclass(frozen=True)
class Unread:
    """What can't be read now, what was read, and sentences on what went to another class by it.

    ``written`` is the file that has a log's bytes, None when none was asked for. ``of`` is the
    class, or one of the plan, that a log was said to be of.
    """

    unread: tuple[Log, ...]
    read: tuple[Read, ...] = ()
    moved: tuple[str, ...] = ()
    written: str | None = None
    of: ReadAs | None = None


def unread(log: str = "", store_at: str | None = None) -> Unread:
    """Return the logs kept aside, or those whose digest begins so."""
    with open_store(store_at, make=False) as store:
        return Unread(_left(store, log))


def read_again(log: str = "", store_at: str | None = None) -> Unread:
    """Try to read logs again, or those whose digest begins so."""
    with open_store(store_at, make=False) as store:
        taken = salvage.try_again(store, salvage.unread(store, log))
        return Unread(_left(store, log), _read(taken))


def read_as(
    log: str, class_id: int, *, in_class: bool = True, store_at: str | None = None
) -> Unread:
    """Read one log as of a class, or without ``in_class`` as of its plan; raises UsageError."""
    with open_store(store_at, make=False) as store:
        one = salvage.one_unread(store, log)
        taken = salvage.try_again(store, [one], class_id, in_class=in_class)
        of = None
        if taken[0].class_id is not None:  # a log of a start that never came is of none
            row = load_row(store, taken[0].class_id)
            of = ReadAs(row.id, row.title, row.start_utc_us, row.collected_utc_us)
        return Unread(_left(store, log), _read(taken), of=of)


def put_back(log: str, store_at: str | None = None) -> Unread:
    """Put a log back that was read as what it is not; raises UsageError where it can't be."""
    with open_store(store_at, make=False) as store:
        _, moved = salvage.put_back(store, log)
        return Unread(_left(store, log), moved=tuple(moved))


def write_log(log: str, path: Path, store_at: str | None = None) -> Unread:
    """Write one log's bytes to a new file; raises HandbellError where it can't be written."""
    with open_store(store_at, make=False) as store:
        one = salvage.one_unread(store, log)
    if path.exists():
        raise HandbellError(f"{path} can't be written: it is there already", "Give another file")
    write_whole(path, one.journal, "Give another file", private=True)
    return Unread((_told(one),), written=str(path))


def _left(store: Store, log: str) -> tuple[Log, ...]:
    return tuple(_told(one) for one in salvage.unread(store, log))


def _told(one: salvage.Unread) -> Log:
    return Log(one.digest, one.box_id, one.reason, len(one.journal))


def _read(taken: list[Ingested]) -> tuple[Read, ...]:
    return tuple(Read(one.run_id, one.class_id, (*one.mismatches, *one.differ)) for one in taken)
