"""Taking a box's journal into the store: read, counted again, committed before it returns."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, bindparam, case, func, insert, select, update

from handbell.base.digest import short_hex
from handbell.base.errors import StoreError, UnreadJournalError
from handbell.store.classes import joining
from handbell.store.database import tables
from handbell.store.database.bulk import insert_if_absent, insert_rows
from handbell.store.database.database import Database
from handbell.store.results import settle

from . import dating, journals, timelines
from .damaged import DOUBTED, ONLY_SAID, played_by
from .facts import facts_of, mismatches_of, note
from .recount import recount

RECENT_MOST = 64  # timelines that a store remembers: those of one class

# Built once: for each log anew it takes as long as to count a tenth of it.
_RUNS, _TIMELINES = tables.runs.c, tables.timelines.c
_LOOK = (
    select(_RUNS.id, _RUNS.class_id, _TIMELINES.data)
    .select_from(tables.timelines)
    .outerjoin(tables.runs, _RUNS.digest == bindparam("digest"))
    .where(_TIMELINES.digest == bindparam("timeline"))
)
_LAST_MET = select(func.max(tables.contacts.c.seq))
_NEXT_ID = select(func.next_id("runs"))
_AFTER_LAST_ID = select(func.coalesce(func.max(_RUNS.id), 0) + 1)  # SQLite has one writer
_LOOK_AGAIN = _LOOK.with_only_columns(
    _RUNS.id, _RUNS.class_id, case((_TIMELINES.altered, _TIMELINES.data)).label("altered")
)


@dataclass
class Ingested:
    """What became of a journal.

    ``class_id`` is None for a run that was armed and never started, and may change when others
    come in; ``mismatches`` are sentences on where the box and the recount differ,
    ``differ`` on names that gave way, as it joined a class, to another of the same bib: said once,
    and not kept, since they name people.
    """

    run_id: int
    class_id: int | None
    new: bool
    mismatches: list[str]
    differ: list[str] = field(default_factory=list)


def ingest_run(
    store: Database, journal: bytes, box_id: str, collected_utc_us: int, lacking: bool = False
) -> Ingested:
    """Take a journal in and return its run; the same bytes again change nothing.

    One transaction, committed on return, so that the box's copy may be erased. ``lacking``: the
    box has a timeline that could not be brought, so one that does not say what was played may be
    of that and is for the coach to say. Raises UnreadJournalError when it does not say what was
    played and that can't be found out either (the bytes are kept aside), and StoreError when its
    timeline is not in the store yet.
    """
    try:
        log = _read(journal, box_id, collected_utc_us)
    except UnreadJournalError as error:
        return _take_in_damaged(store, journal, box_id, collected_utc_us, lacking, error)
    timeline = store.recent.get(log.found.timeline)
    if timeline is None:
        with store.reading() as conn:
            told = _timeline_of(conn, log)
        if isinstance(told, Ingested):
            return told
        if len(store.recent) >= RECENT_MOST:
            store.recent.clear()
        timeline = store.recent[log.found.timeline] = told
    ready = _count(log, timeline)
    try:
        return store.doing(lambda conn: _take_in(conn, ready, collected=True))
    except _AlreadyThereError as error:
        return error.before


def _take_in_damaged(
    store: Database,
    journal: bytes,
    box_id: str,
    collected_utc_us: int,
    lacking: bool,
    error: UnreadJournalError,
) -> Ingested:
    """Take in a journal that can't be read by itself, or keep it aside and raise why."""
    digest = short_hex(journal)
    doubted = lacking and journals.is_headless(journal)
    with store.reading() as conn:
        there = select(_RUNS.id, _RUNS.class_id).where(_RUNS.digest == digest)
        before = conn.execute(there).first()
        if before is not None:
            return _as_before(conn, before.id, before.class_id)
        played = None if doubted else played_by(conn, journal, box_id, collected_utc_us)
    if played is not None:
        return store.doing(
            lambda conn: ingest_in(
                conn, journal, box_id, collected_utc_us, played=played, collected=True
            )
        )
    row = {
        "digest": digest,
        "box_id": box_id,
        "collected_utc_us": collected_utc_us,
        "reason": DOUBTED if doubted else str(error.__cause__),
        "journal": journal,
    }
    kept = store.doing(lambda conn: _keep_aside(conn, row))
    if kept in ONLY_SAID:
        raise UnreadJournalError(
            f"Log {digest} of box {box_id} can't be read: {kept}",
            "Its bytes are kept in the store, whatever the box does. Say what it is: handbell "
            f"unread {digest[:8]} --of CLASS. If the store lacks its plan, send that plan once "
            "more first, unchanged",
        ) from error
    raise error


def _keep_aside(conn: Connection, row: dict[str, Any]) -> str:
    """Keep a log that can't be read, and return the reason that stands for it.

    One that is there already keeps its reason, unless it is doubted now.
    """
    u = tables.unread
    if insert_if_absent(conn, u, row):
        return str(row["reason"])
    if row["reason"] == DOUBTED:
        mine = (u.c.digest == row["digest"]) & u.c.reason.not_in(ONLY_SAID)
        conn.execute(update(u).where(mine).values(reason=DOUBTED))
    return str(conn.scalar(select(u.c.reason).where(u.c.digest == row["digest"])))


def ingest_in(
    conn: Connection,
    journal: bytes,
    box_id: str,
    collected_utc_us: int,
    origin: str | None = None,
    filed: str | None = None,
    kept: bool = False,
    played: journals.Played | None = None,
    tell_moves: bool = True,
    dated: dating.Dated | None = None,
    collected: bool = False,
) -> Ingested:
    """Take a journal in as a part of a transaction; as ``ingest_run`` in all else.

    ``origin`` and ``filed`` say with which other runs it can, or must, be of one class, ``kept``
    that no coach said so, ``played`` what it is of if it does not say it itself, ``dated`` when it
    began if its log does not tell or tells it wrong, ``collected`` that it comes from its box now.
    Without ``tell_moves`` the caller says which logs went to another class.
    """
    log = _read(journal, box_id, collected_utc_us, played)
    timeline = _timeline_of(conn, log)
    if isinstance(timeline, Ingested):
        return timeline
    ready = _count(log, timeline)
    return _take_in(conn, ready, origin, filed, kept, tell_moves, dated, collected)


@dataclass(frozen=True)
class _Log:
    """A journal that was read."""

    digest: str
    journal: bytes
    box_id: str
    collected_utc_us: int
    found: journals.Journal


@dataclass(frozen=True)
class _Ready:
    """A journal counted again, by a timeline as the store had it."""

    log: _Log
    timeline: timelines.Timeline
    mismatches: list[str]
    derived: settle.Derived


def _read(
    journal: bytes, box_id: str, collected_utc_us: int, played: journals.Played | None = None
) -> _Log:
    digest = short_hex(journal)
    try:
        found = journals.read(journal, played)
    except journals.UnreadableError as error:
        raise UnreadJournalError(
            f"Log {digest} of box {box_id} can't be read: {error}",
            "Its bytes are kept in the store, whatever the box does: handbell unread tries it "
            "again or gives them out",
        ) from error
    return _Log(digest, journal, box_id, collected_utc_us, found)


def _timeline_of(conn: Connection, log: _Log) -> timelines.Timeline | Ingested:
    """Return what a log was played from, or what it came to before if it is there already."""
    named = {"digest": log.digest, "timeline": log.found.timeline}
    row = conn.execute(_LOOK, named).first()
    if row is None:
        raise StoreError(
            f"Log {log.digest} of box {log.box_id} can't be read yet: "
            f"the store lacks the timeline {log.found.timeline} it was played from",
            "Collect from the box that still has the timeline, or send the plan once more",
        )
    if row.id is not None:
        return _as_before(conn, row.id, row.class_id)
    return timelines.decode(row.data)


def _count(log: _Log, timeline: timelines.Timeline) -> _Ready:
    """Count a journal again: the long part, done before others are made to wait."""
    found = log.found
    counted = recount(timeline.windows, found.records, found.lost_records)
    mismatches = mismatches_of(found, timeline, counted)
    return _Ready(log, timeline, mismatches, settle.derive(found, counted, timeline.windows))


def _as_before(conn: Connection, run: int, class_id: int | None) -> Ingested:
    notes = tables.notes
    said = select(notes.c.words).where(notes.c.run == run, notes.c.fault == 0)
    words = conn.scalars(said.order_by(notes.c.seq))
    return Ingested(run, class_id, False, list(words))


def _take_in(
    conn: Connection,
    ready: _Ready,
    origin: str | None = None,
    filed: str | None = None,
    kept: bool = False,
    tell_moves: bool = True,
    dated: dating.Dated | None = None,
    collected: bool = False,
) -> Ingested:
    """Write a run; raises _AlreadyThereError when another program was quicker.

    ``collected``: it comes from its box now. Most is written first: that is in nobody's way, while
    runs of one plan wait for each other.
    """
    log, found = ready.log, ready.log.found
    run = _new_id(conn)
    settle.fill(conn, run, ready.derived)
    joining.take_turn(conn)
    now = conn.execute(_LOOK_AGAIN, {"digest": log.digest, "timeline": found.timeline}).one()
    if now.id is not None:
        raise _AlreadyThereError(_as_before(conn, now.id, now.class_id))
    if now.altered is not None:  # a name may have been taken out since it was read
        ready = _count(log, timelines.decode(now.altered))
    row = {"id": run, "class_id": None, **_run_row(log)}
    row |= {"origin": origin, "filed": filed, "kept": kept, "hall": ready.timeline.hall}
    row["met_seq"] = (conn.scalar(_LAST_MET) or 0) if collected else None
    dated = dated or dating.by_box(conn, found, log.box_id, log.collected_utc_us)
    row |= dated.columns() if dated else {}
    conn.execute(insert(tables.runs), row)
    differ: list[str] = []
    moved = differ if tell_moves else None
    class_id = joining.file(conn, run, differ=differ, moved=moved) if found.started else None
    insert_rows(conn, tables.ratings, list(found.ratings.items()), run)
    note(conn, run, found, ready.mismatches)
    return Ingested(run, class_id, True, ready.mismatches, differ)


class _AlreadyThereError(Exception):
    """Undoes the work of a transaction; ``before`` is what the log came to then."""

    def __init__(self, before: Ingested) -> None:
        super().__init__()
        self.before = before


def _new_id(conn: Connection) -> int:
    """Return a number for a run that no other has, nor gets."""
    server = conn.dialect.name == "postgresql"
    return int(conn.execute(_NEXT_ID if server else _AFTER_LAST_ID).scalar_one())


def _run_row(log: _Log) -> dict[str, Any]:
    return {
        "digest": log.digest,
        "timeline": log.found.timeline,
        "box_id": log.box_id,
        "station": log.found.station,
        "collected_utc_us": log.collected_utc_us,
        "journal": log.journal,
        **facts_of(log.found),
    }
