"""Correcting what was counted or said of a class, with the original kept beside it."""

from __future__ import annotations

import getpass
import time
from collections.abc import Iterable
from dataclasses import dataclass

from handbell.base.errors import UsageError
from handbell.base.places import COACH, named
from handbell.base.words import quoted
from handbell.store import Store, open_store
from handbell.store.classes.newest import meant
from handbell.store.logs.blocks import block_names
from handbell.store.results import settle
from handbell.store.results.amend import Change, amend_efforts, amend_name, exchange, undo
from handbell.store.results.places import Among, both_places, one_window, places_of, twice_there
from handbell.store.results.queries import load_class
from handbell.store.results.records import Amendment, ClassRecord
from handbell_core.timeline import ASK_HOLD


@dataclass(frozen=True)
class Where:
    """Whose, and of which efforts; 0 and "" mean all.

    ``block`` is its number or its name, ``since`` a window: from it on.
    """

    bib: int | None = None
    exercise: str = ""
    round: int = 0
    window: int = 0
    block: str = ""
    since: int = 0


@dataclass(frozen=True)
class Should:
    """What it should be: one of these. ``held`` is in seconds, or "end".

    ``swap`` are two bibs whose wearers stood at each other's buttons.
    """

    reps: int | None = None
    held: str | None = None
    to_bib: int | None = None
    invalid: bool = False
    name: str | None = None
    swap: tuple[int, int] | None = None


@dataclass(frozen=True)
class Amended:
    """An amendment; ``exercise`` is what it is of, with the round; "" for a bib's name.

    ``name`` is the exercise's alone. ``hold``: of a hold, in tenths. Those of one saying have the
    same ``batch``, which takes all of them back.
    """

    digest: str
    batch: str
    bib: int
    exercise: str
    name: str
    round: int
    hold: bool
    window: int
    slot: int
    what: str
    value: str
    was: str
    who: str
    why: str
    at_utc_us: int
    undone_utc_us: int | None
    undone_by: str | None


@dataclass(frozen=True)
class Amendments:
    """Amendments of a class, in the order of saying.

    ``twice`` are sentences on bibs that are now twice in a window.
    """

    class_id: int
    title: str
    start_utc_us: int | None
    collected_utc_us: int
    amendments: tuple[Amended, ...]
    twice: tuple[str, ...] = ()


def amendments_of(class_id: int | None, store_at: str | None = None) -> Amendments:
    """Return what was amended in a class, the newest without an id."""
    with open_store(store_at, make=False) as store:
        record = load_class(store, meant(store, class_id))
        return _of(record, record.amendments)


def amend(
    class_id: int | None,
    where: Where,
    should: Should,
    why: str,
    by: str = "",
    store_at: str | None = None,
) -> Amendments:
    """Correct something of a class and return the amendments; the same again does no harm.

    Raises UsageError where it is not said whose it is or why, or nothing is meant by ``where``.
    """
    what, value = _what(should)
    if where.bib is None and should.swap is None:
        raise UsageError("It is not said whose", "Give --bib")
    if where.bib is not None and should.swap is not None:
        raise UsageError("--bib and --swap can't go together", "--swap names both bibs")
    if not why.strip():
        raise UsageError("An amendment needs a reason", 'Give --why "..."')
    change = Change(what, value, _coach(by), why, _now_us())
    with open_store(store_at, make=False) as store:
        record = load_class(store, meant(store, class_id))
        if should.swap is not None:
            places = both_places(record, should.swap, _among(store, record, where))
            return _after(store, record, exchange(store, record, places, change))
        return _after(store, record, _amend(store, record, where, where.bib or 0, change))


def undo_amendment(
    class_id: int | None, digest: str, by: str = "", store_at: str | None = None
) -> Amendments:
    """Take back the batch whose ID begins so, all of it, and return it; raises UsageError."""
    with open_store(store_at, make=False) as store:
        record = load_class(store, meant(store, class_id))
        return _after(store, record, undo(store, record, digest, _coach(by), _now_us()))


def _what(should: Should) -> tuple[str, str]:
    said = {
        settle.REPS: None if should.reps is None else str(should.reps),
        settle.HELD: None if should.held is None else _held(should.held),
        settle.BIB: None if should.to_bib is None else str(should.to_bib),
        settle.NOTHING: "yes" if should.invalid else None,
        settle.NAME: should.name,
    }
    if should.swap is not None:
        said[settle.BIB] = str(should.swap[1])
    meant = [(what, value) for what, value in said.items() if value is not None]
    if len(meant) != 1:
        raise UsageError("It is not said what it should be", "Give --reps, --name or another")
    return meant[0]


def _held(word: str) -> str:
    if word == settle.TO_END:
        return word
    try:
        return str(round(float(word) * 10))
    except (ValueError, OverflowError):
        raise UsageError(f"{word[:20]!r} is no time in seconds", 'Say 24.5, or "end"') from None


def _amend(
    store: Store, record: ClassRecord, where: Where, bib: int, change: Change
) -> list[Amendment]:
    if change.what == settle.NAME:
        return amend_name(store, record, bib, change)
    among = _among(store, record, where)
    places = places_of(record, bib, among, as_planned=change.what == settle.BIB)
    if change.what in (settle.REPS, settle.HELD):
        places = one_window(record, places)
    return amend_efforts(store, record, places, change)


def _among(store: Store, record: ClassRecord, where: Where) -> Among:
    block = int(where.block) if where.block.isdecimal() else 0
    if where.block and not block:
        names = block_names(store, record.row.plan)
        same = [n for n, name in names.items() if name.casefold() == where.block.casefold()]
        if len(same) != 1:
            known = ", ".join(f"{n} {quoted(name)}" for n, name in names.items()) or "no name"
            raise UsageError(
                f"{quoted(where.block[:40])} is not the name of one block",
                f"Say its number; the plan's text names {known}",
            )
        (block,) = same
    return Among(where.exercise, where.round, where.window, block, where.since)


def _after(store: Store, record: ClassRecord, done: list[Amendment]) -> Amendments:
    twice = twice_there(load_class(store, record.row.id), done)
    return _of(record, done, twice)


def _of(record: ClassRecord, some: Iterable[Amendment], twice: Iterable[str] = ()) -> Amendments:
    row, told = record.row, _told(record, some)
    times = row.start_utc_us, row.collected_utc_us
    return Amendments(row.id, row.title, *times, told, tuple(twice))


def _told(record: ClassRecord, some: Iterable[Amendment]) -> tuple[Amended, ...]:
    windows = {(r.id, w.number): w for r in record.runs for w in r.timeline.windows.values()}
    told = []
    for a in some:
        window = windows.get((a.run, a.window))
        window = window and window.at(a.slot)
        facts = {name: value for name, value in vars(a).items() if name != "run"}
        told.append(
            Amended(
                exercise=f"{window.name}, round {window.round}" if window else "",
                name=window.name if window else "",
                round=window.round if window else 0,
                hold=bool(window and window.ask == ASK_HOLD),
                **facts,
            )
        )
    return tuple(told)


def _coach(said: str) -> str:
    said = said or named(COACH)
    if said:
        return said
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return ""


def _now_us() -> int:
    return time.time_ns() // 1000
