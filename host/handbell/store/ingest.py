"""Taking a box's journal into the store: read, counted again, committed before it returns."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, insert, select

from handbell.errors import StoreError, UnreadJournalError
from handbell_core import journal as j
from handbell_core.timeline import DIGEST_SIZE

from . import chains, joining, journals, settle, tables, timelines
from .bulk import insert_if_absent, insert_rows
from .recount import Recounted, recount
from .store import Store


@dataclass
class Ingested:
    """What became of a journal.

    ``class_id`` is None for a run that was armed and never started; ``mismatches`` are sentences
    on where the box and the recount differ.
    """

    run_id: int
    class_id: int | None
    new: bool
    mismatches: list[str]


def ingest_run(store: Store, journal: bytes, box_id: str, collected_utc_us: int) -> Ingested:
    """Take a journal in and return its run; the same bytes again change nothing.

    One transaction, committed on return, so that the box's copy may be erased. Raises
    UnreadJournalError when it does not say what was played (the bytes are kept aside), and
    StoreError when its timeline is not in the store yet.
    """
    try:
        with store.reading() as conn:
            again = _known(conn, digest_of(journal))
            if again is not None:
                return again
            ready = _prepare(conn, journal, box_id, collected_utc_us)
    except UnreadJournalError as error:
        row = {
            "digest": digest_of(journal),
            "box_id": box_id,
            "collected_utc_us": collected_utc_us,
            "reason": str(error.__cause__),
            "journal": journal,
        }
        store.doing(lambda conn: insert_if_absent(conn, tables.unread, row))
        raise
    return store.doing(lambda conn: _take_in(conn, ready))


def digest_of(data: bytes) -> str:
    """Return the digest that a log or timeline is known by."""
    return hashlib.sha256(data).digest()[:DIGEST_SIZE].hex()


def ingest_in(conn: Connection, journal: bytes, box_id: str, collected_utc_us: int) -> Ingested:
    """Take a journal in as a part of a transaction; as ``ingest_run`` in all else."""
    return _take_in(conn, _prepare(conn, journal, box_id, collected_utc_us))


@dataclass(frozen=True)
class _Ready:
    """A journal read and counted again, which needs nothing of the store but its timeline."""

    digest: str
    journal: bytes
    box_id: str
    collected_utc_us: int
    found: journals.Journal
    timeline: timelines.Timeline
    counted: Recounted


def _prepare(conn: Connection, journal: bytes, box_id: str, collected_utc_us: int) -> _Ready:
    """Read and count a journal: the long part, done before others are made to wait."""
    digest = digest_of(journal)
    try:
        found = journals.read(journal)
    except journals.UnreadableError as error:
        raise UnreadJournalError(
            f"Log {digest} of box {box_id} can't be read: {error}",
            "Its bytes are kept in the store; the box may erase it",
        ) from error
    timeline = _timeline(conn, found, digest, box_id)
    counted = recount(timeline.windows, found.records, found.lost_records)
    return _Ready(digest, journal, box_id, collected_utc_us, found, timeline, counted)


def _known(conn: Connection, digest: str) -> Ingested | None:
    t = tables.runs
    row = conn.execute(select(t.c.id, t.c.class_id).where(t.c.digest == digest)).first()
    if row is None:
        return None
    notes = tables.notes
    said = select(notes.c.words).where(notes.c.run == row.id, notes.c.fault == 0)
    words = conn.scalars(said.order_by(notes.c.seq))
    return Ingested(row.id, row.class_id, False, list(words))


def _take_in(conn: Connection, ready: _Ready) -> Ingested:
    joining.take_turn(conn, [ready.timeline.plan])
    again = _known(conn, ready.digest)
    if again is not None:
        return again
    found, counted = ready.found, ready.counted
    mismatches = counted.mismatches + _end_mismatch(found)
    class_id = None
    if found.started:
        class_id = joining.class_of(
            conn,
            joining.Playing(
                plan=ready.timeline.plan,
                box_id=ready.box_id,
                station=found.station,
                start_utc_us=found.start_utc_us,
                started_by=found.started_by,
                slot_ms=ready.timeline.slot_ms,
                collected_utc_us=ready.collected_utc_us,
            ),
        )
    row = {
        "digest": ready.digest,
        "timeline": found.timeline,
        "box_id": ready.box_id,
        "station": found.station,
        "class_id": class_id,
        "state": "cut" if found.reason else "whole",
        "reason": found.reason,
        "clock": "lost" if found.start_utc_us is None else "ok",
        "start_utc_us": found.start_utc_us,
        "started_by": found.started_by,
        "stopped": found.end_cause not in (None, j.BY_TIME),
        "end_class_ms": found.end_class_ms,
        "late_cues": found.late_cues,
        "worst_late_us": found.worst_late_us,
        "broken": found.broken,
        "battery_mv": found.battery_mv,
        "bound_us": found.bound_us,
        "collected_utc_us": ready.collected_utc_us,
        "journal": ready.journal,
        **chains.of_run(found.chains, found.start_utc_us, found.end_utc_us),
    }
    key = conn.execute(insert(tables.runs), row).inserted_primary_key
    assert key is not None
    settle.fill(conn, int(key[0]), found, counted)
    _tell(conn, int(key[0]), found, mismatches)
    return Ingested(int(key[0]), class_id, True, mismatches)


def _tell(conn: Connection, run: int, found: journals.Journal, mismatches: list[str]) -> None:
    """Keep the ratings, what the box noted and what was found to differ."""
    insert_rows(conn, tables.ratings, [(run, bib, told) for bib, told in found.ratings.items()])
    noted = [(class_ms, fault, value, "") for class_ms, fault, value in found.notes]
    said = [(found.end_class_ms, 0, 0, words) for words in mismatches]
    insert_rows(conn, tables.notes, [(run, n, *note) for n, note in enumerate(noted + said)])


def _timeline(
    conn: Connection, found: journals.Journal, digest: str, box_id: str
) -> timelines.Timeline:
    t = tables.timelines
    row: Row[Any] | None = conn.execute(
        select(t.c.data).where(t.c.digest == found.timeline)
    ).first()
    if row is None:
        raise StoreError(
            f"Log {digest} of box {box_id} can't be read yet: "
            f"the store lacks the timeline {found.timeline} it was played from",
            "Collect from the box that still has the timeline, or send the plan once more",
        )
    return timelines.decode(row.data)


def _end_mismatch(found: journals.Journal) -> list[str]:
    if found.taps_told is None:
        return []
    have = sum(record[0] == j.TAP for record in found.records)
    if have == found.taps_told:
        return []
    return [f"The box counted {found.taps_told} taps in all, its log holds {have}"]
