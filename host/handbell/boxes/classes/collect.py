"""Bringing logs home: fetched, checked, committed, and only then erased on the box.

Before anything else each clock is measured once more: what it gained since it was set is the
error it had in class.
"""

from __future__ import annotations

import binascii
import contextlib
import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from handbell.base.digest import short_hex
from handbell.base.errors import BoxError, HandbellError, StoreError, UnreadJournalError
from handbell.base.files import private_folder, write_whole
from handbell.base.places import data_folder
from handbell.base.progress import Progress, no_progress
from handbell.boxes.clocks.clock import Clocks
from handbell.boxes.clocks.contacts import Book
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.fleet import Fleet, Outcome
from handbell.boxes.link.listing import RUNS, TIMELINES, UNREADABLE, listing
from handbell.boxes.link.messages import File
from handbell.boxes.link.replies import DROP, LIST, STATUS
from handbell.boxes.link.words import fault_error
from handbell_core import faults, journal


class Run(Protocol):
    """What the store says of a run it took in."""

    run_id: int
    class_id: int | None
    new: bool
    mismatches: list[str]
    differ: list[str]


class Store(Book, Protocol):
    """The part of the store that collecting needs."""

    def has_timeline(self, digest: str) -> bool:
        """Whether a timeline is known."""
        ...

    def put_timeline(self, data: bytes) -> None:
        """Keep a timeline."""
        ...

    def seen_box(self, box_id: str, label: str, station: int, utc_us: int) -> None:
        """Note that a box was seen."""
        ...

    def ingest(
        self, journal: bytes, box_id: str, collected_utc_us: int, lacking: bool = False
    ) -> Run:
        """Take in a journal and commit it; ``lacking``: a timeline of its box can't be had."""
        ...


@dataclass
class Collected:
    """What came from one box.

    ``runs`` are those in which a class began; what was set and taken back is none. ``led`` counts
    new logs of a remote, which are kept beside the store.
    ``starts_utc_ms``: the open one is of a class that is set to begin then.
    """

    runs: list[int] = field(default_factory=list)
    new: int = 0
    led: int = 0
    open: int = 0
    starts_utc_ms: int | None = None
    notes: list[str] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)  # why a log was left on the box
    broken: list[str] = field(default_factory=list)  # logs that the box can't read
    unread: dict[str, str] = field(default_factory=dict)  # by digest, why it could not be read

    @property
    def any(self) -> bool:
        """Whether there is anything to tell of logs."""
        return bool(self.runs or self.kept or self.broken or self.unread)


def collect(
    fleet: Fleet, store: Store, progress: Progress = no_progress, keep: bool = False
) -> list[Outcome[Collected]]:
    """Collect every finished run of every box; with ``keep`` nothing is erased.

    A box that failed on the way has an error, and a value too if anything of it came before.
    """
    lock = threading.Lock()
    clocks = Clocks(store, lock)
    came: dict[str, Collected] = {}

    def work(connection: Connection) -> Collected:
        got = came[connection.who.id] = Collected()
        _collect_box(connection, store, lock, clocks, progress, keep, got)
        return got

    outcomes = fleet.each(work)
    for outcome in outcomes:
        got = came.get(outcome.who.id)
        if outcome.error is not None and got is not None and got.any:
            outcome.value = got
    return outcomes


def _collect_box(
    connection: Connection,
    store: Store,
    lock: threading.Lock,
    clocks: Clocks,
    progress: Progress,
    keep: bool,
    got: Collected,
) -> None:
    try:
        clocks.contact(connection, "collect")
    except BoxError as error:  # the logs matter more; a box that is gone says so again below
        got.notes.append(str(error))
    box_id = connection.who.id
    with lock:
        store.seen_box(
            box_id,
            connection.label,
            connection.who.station,
            connection.clock.utc_us(),
        )
    entries = listing(connection, RUNS)
    erased = 0
    for n, entry in enumerate(entries, 1):
        if entry.open:
            got.open += 1
            continue
        try:
            data = None if entry.bad else _fetch_checked(connection, RUNS, entry, progress)
        except BoxError as error:
            if error.code not in UNREADABLE:
                raise
            data = None
        if data is None:  # those behind it may be sound
            got.broken.append(entry.name or f"number {n} of {len(entries)}")
            continue
        if data and connection.who.remote:
            try:
                got.led += _keep_led(box_id, entry.digest, data)
            except HandbellError as error:
                got.kept.append(str(error))
                continue
        elif data:  # else the power went before its first record: there is nothing to keep
            lacking, trouble = _bring_timeline(connection, store, lock, data, progress)
            try:
                with lock:
                    run = store.ingest(data, box_id, connection.clock.utc_us(), lacking)
                if run.class_id is not None:
                    got.runs.append(run.run_id)
                    got.new += run.new
                got.notes.extend([*run.mismatches, *run.differ])
            except UnreadJournalError as error:  # its bytes are safe in the store, so go on
                got.unread[entry.digest] = f"{error} {trouble}".rstrip()
            except StoreError as error:  # it can't be kept safe, so it stays where it is
                got.kept.append(f"{error} {trouble}".rstrip())
                continue
        if not keep:
            connection.ask(DROP, of=RUNS, name=entry.name, d=entry.digest)
            erased += 1
        with contextlib.suppress(OSError):
            _partial(connection, entry.digest).unlink()
    if got.open:
        status = connection.ask(STATUS)
        got.starts_utc_ms = status.start_utc_ms if status.state == "set" else None
        if status.state == "cut":
            got.notes.append(
                "it may go on after a power cut, so run handbell collect again in a minute"
            )
    with contextlib.suppress(BoxError):  # all that matters is done
        if erased and connection.ask(LIST, of=RUNS, i=0).count > len(entries) - erased:
            got.notes.append("it says that logs are erased, and still has them: they come again")


def _keep_led(box_id: str, digest: str, data: bytes) -> bool:
    """Keep the log of a remote, which is of nobody, as a file; return whether it is new."""
    path = data_folder() / "remotes" / f"{box_id}-{digest}.hbj"
    if path.is_file() and path.read_bytes() == data:
        return False
    write_whole(path, data, "Free the folder; the log stays on the remote", private=True)
    return True


def _partial(connection: Connection, digest: str) -> Path:
    return data_folder() / "partial" / f"{connection.who.id}-{digest}"


def _fetch_checked(connection: Connection, of: str, entry: File, progress: Progress) -> bytes:
    """Fetch a file and check its digest; what came before an interruption is used again."""
    digest, size = entry.digest, entry.size
    path = _partial(connection, digest)
    data = b""
    with contextlib.suppress(OSError):
        data = path.read_bytes()[:size]
    for _ in range(2):
        try:
            while len(data) < size:
                step = min(size, len(data) + 4096)
                data = connection.fetch(of, entry.name, step, data)
                progress(connection.label, "collecting", len(data), size)
        except BoxError:
            with contextlib.suppress(OSError):  # it only saves time
                private_folder(path.parent)
                path.write_bytes(data)
            raise
        if short_hex(data) == digest:
            return data
        data = b""
    raise fault_error(connection.label, faults.NOT_WHOLE)


def _bring_timeline(
    connection: Connection, store: Store, lock: threading.Lock, run: bytes, progress: Progress
) -> tuple[bool, str]:
    """Bring the timeline that a run played, if the store has not seen it and the box can read it.

    A run that does not say which it played may be of any that the box has. Returned are whether one
    that it may be of could not be brought, and why the store would not take what came ("" for
    nothing).
    """
    first = journal.parse_record(run[: journal.RECORD_SIZE]) if len(run) >= 24 else None
    told = first is not None and first[0] == journal.RUN
    digest = binascii.hexlify(first[4]).decode() if first is not None and told else None
    with lock:
        if digest is not None and store.has_timeline(digest):
            return False, ""
    trouble = ""
    entries = _timelines(connection)
    lacking = entries is None
    for entry in entries or ():
        name = entry.name
        if digest is not None and digest != name:
            continue
        with lock:
            if name and store.has_timeline(name):
                continue
        if not name or entry.digest != name:  # it does not hold what its name says
            lacking = True
            continue
        try:
            data = _fetch_checked(connection, TIMELINES, entry, progress)
            with lock:
                store.put_timeline(data)
        except StoreError as error:
            trouble, lacking = str(error), True
        except BoxError as error:
            if error.code not in UNREADABLE:
                raise
            lacking = True
    return lacking, trouble


def _timelines(connection: Connection) -> list[File] | None:
    """Return the timelines on a box as it lists them, None if it can't."""
    try:
        return listing(connection, TIMELINES)
    except BoxError as error:
        if error.code not in UNREADABLE:
            raise
        return None
