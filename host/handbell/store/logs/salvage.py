"""Logs that can't be read: kept aside, listed, tried again, given out.

What a log with a damaged first record is of, only the coach may say where it fits no one timeline.
A log that was read as what it is not can be put back.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, delete, func, select

from handbell.base.errors import StoreError, UnreadJournalError, UsageError
from handbell.base.words import several
from handbell.store.classes import filing, gathering
from handbell.store.classes.moves import moves_told
from handbell.store.classes.together import MINUTE_US, START_APART_US
from handbell.store.database import tables
from handbell.store.database.database import Database
from handbell.store.people.worn import bibs_lost
from handbell.store.results.settle import in_force

from . import journals, timelines
from .damaged import PUT_BACK, played_by, played_in
from .ingest import Ingested, ingest_in
from .journals import Played

_U = tables.unread.c


@dataclass(frozen=True)
class Unread:
    """A log that is kept aside; ``reason`` says why it can't be read."""

    digest: str
    box_id: str
    collected_utc_us: int
    reason: str
    journal: bytes


def unread(store: Database, start_of_digest: str = "") -> list[Unread]:
    """Return the logs kept aside, the oldest first, or those whose digest begins so."""
    with store.reading() as conn:
        found = conn.execute(select(tables.unread).order_by(_U.collected_utc_us, _U.digest))
        rows = [Unread(**row) for row in found.mappings()]
    return [row for row in rows if row.digest.startswith(start_of_digest.lower())]


def one_unread(store: Database, start_of_digest: str) -> Unread:
    """Return the one log kept aside whose digest begins so; raises UsageError."""
    found = unread(store, start_of_digest)
    if len(found) != 1:
        raise UsageError(
            f"{'No' if not found else 'More than one'} log that can't be read begins with "
            f"{start_of_digest[:24]!r}",
            "handbell unread lists them",
        )
    return found[0]


def try_again(
    store: Database, some: Iterable[Unread], class_id: int | None = None, in_class: bool = True
) -> list[Ingested]:
    """Take in those logs that can be read by now; with ``class_id`` as logs of that class.

    Without ``in_class`` as logs of that class's plan, in whichever class the rules say. Raises
    UsageError when one does not fit that class.
    """
    done = []
    for one in some:

        def work(conn: Connection, one: Unread = one) -> Ingested | None:
            if class_id is None:
                return _by_itself(conn, one)
            return _as_said(store, conn, one, class_id, in_class)

        taken = store.doing(work)
        if taken is not None:
            done.append(taken)
    return done


def put_back(store: Database, start_of_digest: str) -> tuple[Unread, list[str]]:
    """Put a log whose first record is damaged back among those that can't be read.

    It stays there until the coach says what it is of. Returned is also a sentence for logs that go
    to another class, since they hung on it, and for names that give way by that. Raises UsageError
    for another log, when amendments of it are in force, or when a name or an absence would have no
    log any more.
    """

    def work(conn: Connection) -> tuple[Unread, list[str]]:
        r = tables.runs.c
        begins = r.digest.startswith(start_of_digest.lower(), autoescape=True)
        rows = conn.execute(select(tables.runs).where(begins)).all() if start_of_digest else []
        if len(rows) != 1:
            raise UsageError(
                f"{'No' if not rows else 'More than one'} log begins with {start_of_digest[:24]!r}",
                "handbell class CLASS lists those of a class",
            )
        row = rows[0]
        if not journals.is_headless(row.journal):
            raise UsageError(
                f"Log {row.digest[:8]} says itself what it is of, so it can be read",
                f"If its class is wrong: handbell class {row.class_id} --apart {row.digest[:8]}",
            )
        if in_force(conn, row.id):
            raise UsageError(
                f"Log {row.digest[:8]} has amendments, which would be lost",
                f"Undo them first: handbell amend {row.class_id}",
            )
        lost = bibs_lost(conn, row.id)
        if lost:
            raise UsageError(
                f"What is said of bib {', '.join(map(str, lost))} in class {row.class_id} would be "
                "lost",
                "Take it back first, and say it again when the log is read: handbell bibs "
                f"{row.class_id} {' '.join(f'{bib}=' for bib in lost)}",
            )
        aside = Unread(row.digest, row.box_id, row.collected_utc_us, PUT_BACK, row.journal)
        a = tables.amendments.c
        undone = select(func.count()).select_from(tables.amendments).where(a.run == row.id)
        gone = conn.scalar(undone) or 0
        said = filing.take_out(conn, row.id)
        if gone:
            were = several(gone, "amendment was", "amendments were")
            said.insert(0, f"{were} of that reading and taken back; the store has them no more")
        conn.execute(tables.unread.insert().values(vars(aside)))
        return aside, said

    return store.doing(work)


def _by_itself(conn: Connection, one: Unread) -> Ingested | None:
    """Take a log in if it can be read without the coach's word."""
    played = None
    if journals.is_headless(one.journal):
        played = played_by(conn, one.journal, one.box_id, one.collected_utc_us)
    try:
        return _take_in(conn, one, None, played)
    except (UnreadJournalError, StoreError):
        return None


def _as_said(
    store: Database, conn: Connection, one: Unread, class_id: int, in_class: bool
) -> Ingested | None:
    """Take a log in as the coach says, in a class or as of its plan."""
    there = filing.runs_of(store, conn, class_id)
    played = played_in(conn, one.journal, one.reason, class_id)
    origin = None if any(run.origin is None for run in there) else there[0].origin
    if in_class:
        _check_class(one, class_id, played, there, conn)
        moved: list[str] = []
        with moves_told(conn, moved):
            taken = _take_in(conn, one, origin, played, tell_moves=False)
            if taken.class_id != class_id:
                some = [taken.run_id, *(run.id for run in there)]
                taken.class_id = filing.put_together(conn, some, taken.differ)
        taken.differ += moved
        return taken
    return _take_in(conn, one, origin, played)


def _check_class(
    one: Unread, class_id: int, played: Played, there: Iterable[Any], conn: Connection
) -> None:
    """Raise UsageError when a log can't be of a class."""
    apart = f"If it is another class of that plan: handbell unread {one.digest[:8]} --plan-of"
    found = journals.read(one.journal, played)
    start = found.start_utc_us
    same = [run for run in there if (run.box_id, run.station) == (one.box_id, played.station)]
    if same:
        part = filing.Part(found.boot or 0, journals.ends_by_cut(one.journal), start)
        parts = [*filing.parts_of(conn, same), part]
        if not filing.one_after_the_other(parts, gathering.slot_us_of(conn, same[0].id)):
            raise UsageError(
                f"Class {class_id} has a log of box {one.box_id[-4:]}, station {played.station}",
                f"{apart} {class_id}",
            )
    data = conn.scalar(
        select(tables.timelines.c.data).where(tables.timelines.c.digest == played.timeline)
    )
    most = min(START_APART_US, timelines.decode(data or b"").slot_ms * 1000)
    keys = {run.led_key for run in there} - {None}
    for run in there if start is not None and found.led_key not in keys else ():
        if run.start_utc_us is not None and abs(run.start_utc_us - start) > most:
            minutes = abs(run.start_utc_us - start) // MINUTE_US
            raise UsageError(
                f"Log {one.digest[:8]} began {minutes} min away from class {class_id}, so it is "
                "of another",
                f"{apart} {class_id}",
            )


def _take_in(
    conn: Connection,
    one: Unread,
    origin: str | None,
    played: Played | None,
    tell_moves: bool = True,
) -> Ingested:
    collected_us = one.collected_utc_us
    taken = ingest_in(
        conn, one.journal, one.box_id, collected_us, origin, played=played, tell_moves=tell_moves
    )
    conn.execute(delete(tables.unread).where(_U.digest == one.digest))
    return taken
