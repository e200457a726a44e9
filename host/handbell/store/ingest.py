"""Taking a box's journal into the store: read, counted again, committed before it returns."""

from __future__ import annotations

import hashlib
import struct
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, insert, select

from handbell.errors import StoreError, UnreadJournalError
from handbell_core import journal as j
from handbell_core.timeline import DIGEST_SIZE

from . import chains, joining, journals, tables, timelines
from .recount import KINDS, Recounted, recount
from .store import Store, insert_if_absent


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
    digest = hashlib.sha256(journal).digest()[:DIGEST_SIZE].hex()
    try:
        found = journals.read(journal)
    except journals.UnreadableError as error:
        _keep_unread(store, digest, journal, box_id, collected_utc_us, str(error))
        raise UnreadJournalError(
            f"Log {digest} of box {box_id} can't be read: {error}",
            "Its bytes are kept in the store; the box may erase it",
        ) from error
    with store.writing() as conn:
        timeline = _timeline(conn, found, digest, box_id)
        joining.take_turn(conn, timeline.plan)
        again = _known(conn, digest)
        if again is not None:
            return again
        return _take_in(conn, found, timeline, digest, journal, box_id, collected_utc_us)


def _keep_unread(
    store: Store, digest: str, journal: bytes, box_id: str, collected_utc_us: int, reason: str
) -> None:
    row = {
        "digest": digest,
        "box_id": box_id,
        "collected_utc_us": collected_utc_us,
        "reason": reason,
        "journal": journal,
    }
    with store.writing() as conn:
        insert_if_absent(conn, tables.unread, row)


def _known(conn: Connection, digest: str) -> Ingested | None:
    t = tables.runs
    row = conn.execute(select(t.c.id, t.c.class_id).where(t.c.digest == digest)).first()
    if row is None:
        return None
    notes = tables.notes
    said = select(notes.c.words).where(notes.c.run == row.id, notes.c.fault == 0)
    words = conn.scalars(said.order_by(notes.c.seq))
    return Ingested(row.id, row.class_id, False, list(words))


def _take_in(
    conn: Connection,
    found: journals.Journal,
    timeline: timelines.Timeline,
    digest: str,
    journal: bytes,
    box_id: str,
    collected_utc_us: int,
) -> Ingested:
    counted = recount(timeline.windows, found.records, found.lost_records)
    mismatches = counted.mismatches + _end_mismatch(found)
    class_id = None
    if found.started:
        class_id = joining.class_of(
            conn,
            joining.Playing(
                plan=timeline.plan,
                box_id=box_id,
                station=found.station,
                start_utc_us=found.start_utc_us,
                started_by=found.started_by,
                slot_ms=timeline.slot_ms,
                collected_utc_us=collected_utc_us,
            ),
        )
    row = {
        "digest": digest,
        "timeline": found.timeline,
        "box_id": box_id,
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
        "collected_utc_us": collected_utc_us,
        "journal": journal,
        **chains.of_run(found.chains, found.start_utc_us, found.end_utc_us),
    }
    key = conn.execute(insert(tables.runs), row).inserted_primary_key
    assert key is not None
    _fill(conn, int(key[0]), found, counted, mismatches)
    return Ingested(int(key[0]), class_id, True, mismatches)


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


def _fill(
    conn: Connection,
    run: int,
    found: journals.Journal,
    counted: Recounted,
    mismatches: list[str],
) -> None:
    rows: dict[Any, list[dict[str, Any]]] = {
        tables.taps: _tap_rows(run, found),
        tables.results: [
            {
                "run": run,
                "window": c.window,
                "slot": c.slot,
                **vars(c.used),
                "box_reps": c.box_reps,
                "standing": c.standing,
            }
            for c in counted.results
        ],
        tables.ratings: [
            {"run": run, "bib": bib, "rating": rating} for bib, rating in found.ratings.items()
        ],
        tables.notes: _note_rows(run, found, mismatches),
    }
    for table, some in rows.items():
        if some:
            conn.execute(insert(table), some)


def _tap_rows(run: int, found: journals.Journal) -> list[dict[str, Any]]:
    rows = []
    for seq, (kind, slot, window, class_ms, payload) in enumerate(found.records):
        if kind not in KINDS:
            continue
        bib, held_ms, _, flags = struct.unpack_from("<HHHB", payload)
        rows.append(
            {
                "run": run,
                "seq": seq,
                "kind": KINDS[kind],
                "slot": slot,
                "bib": bib,
                "window": window,
                "class_ms": class_ms,
                "held_ms": held_ms,
                "flags": flags,
            }
        )
    return rows


def _note_rows(run: int, found: journals.Journal, mismatches: list[str]) -> list[dict[str, Any]]:
    told = [(class_ms, fault, value, "") for class_ms, fault, value in found.notes]
    said = [(found.end_class_ms, 0, 0, words) for words in mismatches]
    return [
        {
            "run": run,
            "seq": seq,
            "class_ms": class_ms,
            "fault": fault,
            "value": value,
            "words": words,
        }
        for seq, (class_ms, fault, value, words) in enumerate(told + said)
    ]
