"""Logs that can't be read: kept aside, listed, tried again, given out.

A log whose first record is damaged does not say what was played. The timelines that the store has
are tried then: what its other records tell must fit, and where several fit, the plan of a class
that began at the same time is taken. Nothing is guessed: if it is still not one, the coach says.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, delete, select

from handbell.errors import StoreError, UnreadJournalError, UsageError
from handbell_core import journal as j

from . import journals, tables, timelines
from .ingest import Ingested, ingest_in
from .journals import Journal, Played
from .outages import Record
from .parted import START_APART_US
from .recount import KINDS, PRESS, recount
from .store import Store

_U = tables.unread.c


@dataclass(frozen=True)
class Unread:
    """A log that is kept aside; ``reason`` says why it can't be read."""

    digest: str
    box_id: str
    collected_utc_us: int
    reason: str
    journal: bytes


def unread(store: Store, start_of_digest: str = "") -> list[Unread]:
    """Return the logs kept aside, the oldest first, or those whose digest begins so."""
    with store.reading() as conn:
        found = conn.execute(select(tables.unread).order_by(_U.collected_utc_us, _U.digest))
        rows = [Unread(**row) for row in found.mappings()]
    return [row for row in rows if row.digest.startswith(start_of_digest.lower())]


def one_unread(store: Store, start_of_digest: str) -> Unread:
    """Return the one log kept aside whose digest begins so; raises UsageError."""
    found = unread(store, start_of_digest)
    if len(found) != 1:
        raise UsageError(
            f"{'No' if not found else 'More than one'} log that can't be read begins with "
            f"{start_of_digest[:24]!r}",
            "handbell unread lists them",
        )
    return found[0]


def try_again(store: Store, some: Iterable[Unread], class_id: int | None = None) -> list[Ingested]:
    """Take in those logs that can be read by now; with ``class_id`` as logs of that class's plan.

    Raises UsageError when one does not fit that class.
    """
    done = []
    for one in some:

        def work(conn: Connection, one: Unread = one) -> Ingested | None:
            return _take_in(store, conn, one, class_id)

        taken = store.doing(work)
        if taken is not None:
            done.append(taken)
    return done


def _take_in(store: Store, conn: Connection, one: Unread, class_id: int | None) -> Ingested | None:
    played = None
    if class_id is not None:
        played = _of_class(store, conn, one, class_id)
    elif _is_damaged(one.journal):
        played = played_by(conn, one.journal, one.box_id)
    try:
        taken = ingest_in(conn, one.journal, one.box_id, one.collected_utc_us, played=played)
    except (UnreadJournalError, StoreError):
        return None
    conn.execute(delete(tables.unread).where(_U.digest == one.digest))
    return taken


def _is_damaged(journal: bytes) -> bool:
    """Whether a log has sound records, but none that says what was played."""
    records, _ = j.parse(journal)
    return bool(records) and records[0][0] != j.RUN


def played_by(conn: Connection, journal: bytes, box_id: str) -> Played | None:
    """Return the only timeline here that a log with a damaged first record can be of."""
    if not _is_damaged(journal):
        return None
    t, b = tables.timelines.c, tables.boxes.c
    station = conn.scalar(select(b.station).where(b.box_id == box_id))
    wanted = select(t.digest, t.plan, t.station, t.data)
    if station is not None:
        wanted = wanted.where(t.station == station)
    fit = _fitting(journal, conn.execute(wanted.order_by(t.digest)).all())
    if len(fit) > 1:
        near = _plans_played_then(conn, journals.read(journal, Played("", 0)))
        fit = [row for row in fit if row.plan in near]
    return Played(fit[0].digest, fit[0].station) if len(fit) == 1 else None


def _of_class(store: Store, conn: Connection, one: Unread, class_id: int) -> Played:
    t, c = tables.timelines.c, tables.classes.c
    if not _is_damaged(one.journal):
        raise UsageError(
            f"Log {one.digest[:8]} can't be read: {one.reason}",
            "To know its class does not help; handbell unread --out keeps its bytes",
        )
    plan = conn.scalar(select(c.plan).where(c.id == class_id))
    if plan is None:
        raise StoreError(
            f"The store {store.name} holds no class {class_id}",
            "handbell report --list shows the classes there are",
        )
    rows = conn.execute(select(t.digest, t.station, t.data).where(t.plan == plan)).all()
    fit = _fitting(one.journal, rows)
    if len(fit) != 1:
        how = "no box's part" if not fit else "the parts of several boxes"
        raise UsageError(
            f"Log {one.digest[:8]} fits {how} in the plan of class {class_id}",
            "Say another class; handbell unread --out keeps its bytes",
        )
    return Played(fit[0].digest, fit[0].station)


def _fitting(journal: bytes, rows: Iterable[Any]) -> list[Any]:
    """Return the timelines that have a place for each press and result of a log.

    Of several those with which the count of the presses agrees with the box's own.
    """
    found = journals.read(journal, Played("", 0))
    told = {place for record in found.records for place in _place(record)}
    if not told:
        return []
    fit = []
    for row in rows:
        windows = timelines.decode(row.data).windows
        there = {
            (window.number, slot, bib)
            for window in windows.values()
            for slot, bib in enumerate(window.bibs)
        }
        if told <= there:
            fit.append((row, not recount(windows, found.records, True).mismatches))
    agreed = [row for row, agrees in fit if agrees]
    return agreed or [row for row, _ in fit]


def _place(record: Record) -> list[tuple[int, int, int]]:
    """Return the window, slot and bib that a record speaks of, if it was to be counted."""
    kind, slot, window, _, payload = record
    if kind in KINDS:
        bib, _, _, flags = PRESS.unpack_from(payload)
        return [] if flags & j.TAP_OUTSIDE else [(window, slot, bib)]
    if kind == j.RESULT:
        return [(window, slot, int.from_bytes(payload[:2], "little"))]
    return []


def _plans_played_then(conn: Connection, found: Journal) -> set[str]:
    """Return the plans of classes that began when a log did."""
    if found.start_utc_us is None:
        return set()
    c, apart = tables.classes.c, START_APART_US
    near = c.start_utc_us.between(found.start_utc_us - apart, found.start_utc_us + apart)
    return set(conn.scalars(select(c.plan).where(near)))
