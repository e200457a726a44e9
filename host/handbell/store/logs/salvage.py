"""Logs that can't be read: kept aside, listed, tried again, given out.

A log whose first record is damaged does not say what was played. The timelines that the store has
are tried then: all that its other records tell must fit. Where several fit, a class of the plan
must have begun at the same time; where one fits that was played here, too, or have been collected
with the log if either tells no time. Nothing is guessed: if it is still not one, the coach says. A
log that was read as what it is not can be put back.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, delete, select

from handbell.base.digest import short_hex
from handbell.base.errors import StoreError, UnreadJournalError, UsageError
from handbell.store.classes import filing
from handbell.store.classes.doubts import moves_told
from handbell.store.classes.parted import COLLECTING_US
from handbell.store.classes.together import MINUTE_US, START_APART_US
from handbell.store.database import tables
from handbell.store.people.worn import bibs_lost
from handbell.store.results.settle import in_force
from handbell.store.store import Store
from handbell_core import journal as j
from handbell_core.timeline import TAP_TALLY

from . import journals, timelines
from .ingest import Ingested, ingest_in
from .journals import Played
from .outages import Record, entered_in
from .recount import PRESS, recount

PUT_BACK = "it was put back, since it was read as what it is not"
DOUBTED = "it does not say which plan it is of, and a plan on that box can't be read"
ONLY_SAID = (PUT_BACK, DOUBTED)  # read by the coach's word alone
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


def try_again(
    store: Store, some: Iterable[Unread], class_id: int | None = None, in_class: bool = True
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


def put_back(store: Store, start_of_digest: str) -> tuple[Unread, list[str]]:
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
        said = filing.take_out(conn, row.id)
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
    store: Store, conn: Connection, one: Unread, class_id: int, in_class: bool
) -> Ingested | None:
    """Take a log in as the coach says, in a class or as of its plan."""
    there = filing.runs_of(store, conn, class_id)
    played = _of_class(conn, one, class_id)
    origin = None if any(run.origin is None for run in there) else there[0].origin
    if in_class:
        _check_class(one, class_id, played, there, conn)
        plan = select(tables.classes.c.plan).where(tables.classes.c.id == class_id)
        moved: list[str] = []
        with moves_told(conn, conn.scalars(plan).all(), moved):
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
    for run in there:
        if (run.box_id, run.station) == (one.box_id, played.station):
            raise UsageError(
                f"Class {class_id} has a log of box {one.box_id[-4:]}, station {run.station}",
                f"{apart} {class_id}",
            )
    start = journals.read(one.journal, played).start_utc_us
    data = conn.scalar(
        select(tables.timelines.c.data).where(tables.timelines.c.digest == played.timeline)
    )
    most = min(START_APART_US, timelines.decode(data or b"").slot_ms * 1000)
    for run in there if start is not None else ():
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


def played_by(
    conn: Connection, journal: bytes, box_id: str, collected_utc_us: int
) -> Played | None:
    """Return the only timeline here that a log with a damaged first record can be of.

    None for one that is read by the coach's word alone.
    """
    aside = select(_U.digest).where(_U.digest == short_hex(journal), _U.reason.in_(ONLY_SAID))
    if not journals.is_headless(journal) or conn.execute(aside).first() is not None:
        return None
    t, b = tables.timelines.c, tables.boxes.c
    station = conn.scalar(select(b.station).where(b.box_id == box_id))
    wanted = select(t.digest, t.plan, t.station, t.data)
    if station is not None:
        wanted = wanted.where(t.station == station)
    fit = _fitting(journal, conn.execute(wanted.order_by(t.digest)).all())
    start = journals.read(journal, Played("", 0)).start_utc_us
    if len(fit) > 1:
        fit = [row for row in fit if _began_near(conn, row.plan, start)]
    elif fit and _played(conn, fit[0].plan):
        # It may be the plan before it was edited, when it was played at other times only.
        plan = fit[0].plan
        if not (
            _began_near(conn, plan, start) or _collected_near(conn, plan, start, collected_utc_us)
        ):
            return None
    return Played(fit[0].digest, fit[0].station) if len(fit) == 1 else None


def _of_class(conn: Connection, one: Unread, class_id: int) -> Played:
    t, c = tables.timelines.c, tables.classes.c
    if not journals.is_headless(one.journal):
        raise UsageError(
            f"Log {one.digest[:8]} can't be read: {one.reason}",
            "To know its class does not help; handbell unread --out keeps its bytes",
        )
    plan = conn.scalar(select(c.plan).where(c.id == class_id))
    rows = conn.execute(select(t.digest, t.station, t.data).where(t.plan == plan)).all()
    fit = _fitting(one.journal, rows, said=True)
    if len(fit) != 1:
        how = "no box's part" if not fit else "the parts of several boxes"
        raise UsageError(
            f"Log {one.digest[:8]} fits {how} in the plan of class {class_id}",
            "Say another class; handbell unread --out keeps its bytes",
        )
    return Played(fit[0].digest, fit[0].station)


def _fitting(journal: bytes, rows: Iterable[Any], said: bool = False) -> list[Any]:
    """Return the timelines that a log with a damaged first record can be of.

    They have a place for each press and result at its time, and the count of the presses agrees
    with the box's own. Where more records are damaged it can't quite agree: then the coach's word
    (``said``) will do, if none agrees.
    """
    found = journals.read(journal, Played("", 0))
    told = {place for record in found.records for place in _place(record)}
    if not told:
        return []
    agreed, fit = [], []
    for row in rows:
        windows = timelines.decode(row.data).windows
        if all(_has_place(windows, *place) for place in told):
            fit.append(row)
            if not recount(windows, found.records, True).mismatches:
                agreed.append(row)
    return agreed or (fit if said and found.broken > 1 else [])


def _place(record: Record) -> list[tuple[int, int, int, int, bool]]:
    """Return the window, slot, bib and ``class_ms`` that a record speaks of, and if it is a result.

    Nothing for a press that was not to be counted, and for one that only corrects another.
    """
    kind, slot, window, class_ms, payload = record
    if kind == j.TAP:
        bib, _, _, flags = PRESS.unpack_from(payload)
        return [] if flags & j.TAP_OUTSIDE else [(window, slot, bib, class_ms, False)]
    if kind == j.RESULT:
        return [(window, slot, int.from_bytes(payload[:2], "little"), class_ms, True)]
    return []


def _has_place(
    windows: Mapping[int, timelines.Window],
    number: int,
    slot: int,
    bib: int,
    class_ms: int,
    result: bool,
) -> bool:
    """Whether a window was then, with a bib there; a tally is entered in the rest after it."""
    window = windows.get(number)
    if window is None or slot >= len(window.bibs) or window.bibs[slot] != bib:
        return False
    if result:
        return class_ms == window.start_ms
    asked = window.at(slot)
    begin, end = asked.start_ms, asked.end_ms
    if asked.tap == TAP_TALLY:
        begin, end = entered_in(windows, asked)
    return begin <= class_ms < end


def _played(conn: Connection, plan: str) -> bool:
    """Whether there is a class of a plan."""
    c = tables.classes.c
    return conn.execute(select(c.id).where(c.plan == plan).limit(1)).first() is not None


def _began_near(conn: Connection, plan: str, start_utc_us: int | None) -> bool:
    """Whether a class of a plan began at about a time; not if that is not known."""
    if start_utc_us is None:
        return False
    c = tables.classes.c
    near = c.start_utc_us.between(start_utc_us - START_APART_US, start_utc_us + START_APART_US)
    return conn.execute(select(c.id).where(c.plan == plan, near).limit(1)).first() is not None


def _collected_near(
    conn: Connection, plan: str, start_utc_us: int | None, collected_utc_us: int
) -> bool:
    """Whether a log of a plan was collected with one, where one of the two tells no start."""
    c, r = tables.classes.c, tables.runs.c
    since, until = collected_utc_us - COLLECTING_US, collected_utc_us + COLLECTING_US
    wanted = select(r.id).join(tables.classes, c.id == r.class_id)
    wanted = wanted.where(c.plan == plan, r.collected_utc_us.between(since, until))
    if start_utc_us is not None:
        wanted = wanted.where(c.start_utc_us.is_(None))
    return conn.execute(wanted.limit(1)).first() is not None
