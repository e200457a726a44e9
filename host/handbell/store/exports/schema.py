"""What an export holds: its tables, column by column, and where each row comes from.

``docs/engineers/store.md`` lists the same; a test holds the two together.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timezone
from typing import Any

from sqlalchemy import Row, Select, and_, func, select

from handbell.store.database import tables
from handbell.store.logs.acts import LATE, LEFT_OUT, PAUSED, SHORT
from handbell.store.logs.recount import PARTLY, RECOUNT
from handbell_core import journal as j
from handbell_core import timeline as t

VERSION = 1
AT_ONCE = 5_000  # rows fetched together, so that a million take no more memory than these
INT, FLOAT, TEXT, BOOL, TIME = "int", "float", "text", "bool", "time"


@dataclass(frozen=True)
class Column:
    """One column; ``kind`` is one of the words above, TIME being UTC. Any may be empty."""

    name: str
    kind: str
    meaning: str


@dataclass(frozen=True)
class TableSpec:
    """One table of an export; ``of_bib``: its rows belong to a bib in a class."""

    name: str
    columns: tuple[Column, ...]
    query: Callable[[], Select[Any]]
    row: Callable[[Row[Any]], Sequence[Any]]
    of_bib: bool = False


@dataclass(frozen=True)
class Wanted:
    """What an export takes: ``classes`` None for all, ``person`` for one person's rows only."""

    classes: frozenset[int] | None = None
    person: str = ""
    names: bool = True


_R, _T, _C = tables.runs, tables.tasks, tables.classes
_AT = func.coalesce(_C.c.start_utc_us, _C.c.collected_utc_us)


def _columns(*said: tuple[str, str, str]) -> tuple[Column, ...]:
    return tuple(Column(*one) for one in said)


def utc(utc_us: int | None) -> datetime | None:
    """Return microseconds since 1970 as a time in UTC."""
    return None if utc_us is None else datetime.fromtimestamp(utc_us / 1e6, timezone.utc)


def _classes() -> Select[Any]:
    p = tables.plans
    return (
        select(_C.c.id.label("class_id"), p.c.title, _C.c.plan, _C.c.start_utc_us)
        .add_columns(_C.c.started_by, _C.c.collected_utc_us)
        .join(p, p.c.digest == _C.c.plan)
        .order_by(_AT, _C.c.id)
    )


def _runs() -> Select[Any]:
    names = "station box_id timeline state reason clock start_utc_us end_class_ms"
    return select(
        _R.c.class_id, _R.c.digest.label("log"), *(_R.c[name] for name in names.split())
    ).order_by(_R.c.class_id, _R.c.station, _R.c.id)


def _results() -> Select[Any]:
    r, w, a = tables.results, tables.wearers, tables.amendments
    place = and_(_T.c.timeline == _R.c.timeline, _T.c.window == r.c.window, _T.c.slot == r.c.slot)
    task = "block round item name ask tap every goal both_sides start_ms end_ms"
    told = "reps made_ms held_ds flags standing box_reps median_gap_ms best_gap_ms worst_gap_ms"
    return (
        select(_R.c.class_id, r.c.bib, w.c.person, _R.c.digest.label("log"))
        .add_columns(_R.c.station, r.c.window, *(_T.c[name] for name in task.split()))
        .add_columns(*(r.c[name] for name in told.split()), a.c.what, a.c.was, a.c.why)
        .select_from(r)
        .join(_R, _R.c.id == r.c.run)
        .join(_T, place)
        .outerjoin(w, and_(w.c.class_id == _R.c.class_id, w.c.bib == r.c.bib))
        .outerjoin(a, a.c.digest == r.c.amended)
        .order_by(_R.c.class_id, _R.c.station, r.c.run, r.c.window, r.c.slot)
    )


def _taps() -> Select[Any]:
    tap = tables.taps
    names = "bib seq kind slot window class_ms held_ms flags stands"
    return (
        select(_R.c.class_id, _R.c.digest.label("log"), *(tap.c[name] for name in names.split()))
        .join(_R, _R.c.id == tap.c.run)
        .order_by(tap.c.run, tap.c.seq)
    )


def _ratings() -> Select[Any]:
    r, w = tables.ratings, tables.wearers
    worn = and_(w.c.class_id == _R.c.class_id, w.c.bib == r.c.bib)
    return (
        select(_R.c.class_id, r.c.bib, w.c.person, r.c.rating)
        .join(_R, _R.c.id == r.c.run)
        .outerjoin(w, worn)
        .order_by(_R.c.class_id, r.c.bib, r.c.run)
    )


def _amendments() -> Select[Any]:
    a = tables.amendments
    names = "window slot what value was who why at_utc_us undone_utc_us undone_by digest"
    return (
        select(_R.c.class_id, a.c.bib, _R.c.digest.label("log"))
        .add_columns(*(a.c[name] for name in names.split()))
        .join(_R, _R.c.id == a.c.run)
        .order_by(a.c.at_utc_us, a.c.digest)
    )


def _wearers() -> Select[Any]:
    w = tables.wearers
    return select(w.c.class_id, w.c.bib, w.c.person, w.c.absent).order_by(w.c.class_id, w.c.bib)


def _roster() -> Select[Any]:
    a, p = tables.athletes, tables.persons
    worn = select(a.c.person, a.c.bib, a.c.group_name).join(p, p.c.id == a.c.person)
    return worn.order_by(func.lower(p.c.name), p.c.number)


# What the word of a remote did to a window; of two things the one that says more.
_WORDS = ((LEFT_OUT, "left out"), (LATE, "late"), (SHORT, "cut short"), (PAUSED, "paused"))


def _result_row(r: Row[Any]) -> Sequence[Any]:
    hold = r.ask == t.ASK_HOLD
    length_ms = r.end_ms - r.start_ms
    held_ms = length_ms if r.held_ds == j.HELD_TO_END else r.held_ds * 100
    partly = r.standing == PARTLY or bool(r.flags & (LATE | PAUSED))
    broken = j.RES_STOPPED | j.RES_SKIPPED | SHORT | LEFT_OUT
    ended_early = r.standing == RECOUNT or bool(r.flags & broken)
    held_known = not partly and not (r.held_ds == j.HELD_TO_END and ended_early)
    return (
        *(r.class_id, r.bib, r.person, r.log, r.station, r.window, r.block, r.round, r.item),
        *(r.name, t.ASKS[r.ask], t.TAPS[r.tap], r.every, r.goal or None, r.both_sides),
        *(r.start_ms, length_ms, None if hold or r.flags & LEFT_OUT else r.reps),
        r.made_ms - r.start_ms if r.made_ms >= 0 and not partly else None,
        held_ms if hold and held_known else None,
        not r.flags & j.RES_UNCONFIRMED,
        bool(r.flags & j.RES_SKIPPED),
        bool(r.flags & j.RES_STOPPED),
        next((words for flag, words in _WORDS if r.flags & flag), None),
        *(r.standing, r.box_reps, r.median_gap_ms, r.best_gap_ms, r.worst_gap_ms),
        *(r.what, r.was, r.why),
    )


_CLASS = ("class_id", INT, "the class's number in the store it comes from")
_BIB = ("bib", INT, "")
_PERSON = ("person", TEXT, "who wore the bib, where that is said")
_LOG = ("log", TEXT, "digest of the box's log")

TABLES: tuple[TableSpec, ...] = (
    TableSpec(
        "classes",
        _columns(
            _CLASS,
            ("title", TEXT, "the plan's"),
            ("plan", TEXT, "the plan's digest"),
            ("start_utc", TIME, "empty: no box had a clock"),
            ("started_by", TEXT, "host, hand, word: by a remote, or late: put in"),
            ("collected_utc", TIME, "when its first log came in"),
        ),
        _classes,
        lambda r: (*r[:3], utc(r.start_utc_us), r.started_by, utc(r.collected_utc_us)),
    ),
    TableSpec(
        "runs",
        _columns(
            _CLASS,
            _LOG,
            ("station", INT, ""),
            ("box_id", TEXT, ""),
            ("timeline", TEXT, "digest of what it played"),
            ("state", TEXT, "whole, gaps or cut"),
            ("reason", TEXT, "why it is not whole"),
            ("clock", TEXT, "ok or lost"),
            ("start_utc", TIME, "empty: clock lost"),
            ("end_class_ms", INT, "the last that the log knows of"),
        ),
        _runs,
        lambda r: (*r[:8], utc(r.start_utc_us), r.end_class_ms),
    ),
    TableSpec(
        "results",
        _columns(
            _CLASS,
            _BIB,
            _PERSON,
            _LOG,
            ("station", INT, ""),
            ("window", INT, "from 1, in the order of the box"),
            ("block", INT, "from 1"),
            ("round", INT, "from 1"),
            ("item", INT, "exercise in the block, from 1"),
            ("exercise", TEXT, ""),
            ("ask", TEXT, "open, target or hold"),
            ("tap", TEXT, "how it was to be tapped"),
            ("every", INT, "how many reps a tap stands for"),
            ("goal", INT, "reps of a target, or the goal of an open window"),
            ("both_sides", BOOL, ""),
            ("start_ms", INT, "of the class"),
            ("window_ms", INT, "its length"),
            ("reps", INT, "empty for a hold or left out; legs where the way to tap is leg"),
            ("finish_ms", INT, "from its start until target or goal was made; empty: not known"),
            ("held_ms", INT, "only for a hold; empty: not known"),
            ("confirmed", BOOL, "false: a tally nobody closed"),
            ("skipped", BOOL, ""),
            ("stopped", BOOL, "ended before the window was over"),
            ("remote", TEXT, "what it did to the window: paused, cut short, left out, late"),
            ("standing", TEXT, "agreed, recount, differs, box, partly, amended or invalid"),
            ("box_reps", INT, "what the box counted itself"),
            ("median_gap_ms", FLOAT, "from rep to rep, of three taps or more; or of two legs"),
            ("best_gap_ms", FLOAT, ""),
            ("worst_gap_ms", FLOAT, ""),
            ("amended", TEXT, "what was corrected: reps, held, bib or invalid"),
            ("was", TEXT, "what stood there before"),
            ("why", TEXT, "the coach's reason"),
        ),
        _results,
        _result_row,
        of_bib=True,
    ),
    TableSpec(
        "taps",
        _columns(
            _CLASS,
            _LOG,
            _BIB,
            ("seq", INT, "place in the log"),
            ("kind", TEXT, "tap, back, forth or confirm"),
            ("slot", INT, "the button, from 0"),
            ("window", INT, ""),
            ("class_ms", INT, "when the press began"),
            ("held_ms", INT, ""),
            ("flags", INT, "1 outside any counting, 2 extra, 4 doubt, 8 tally, 256 paused"),
            ("stands", BOOL, "it counted, and nothing took it back"),
        ),
        _taps,
        tuple,
        of_bib=True,
    ),
    TableSpec(
        "ratings",
        _columns(_CLASS, _BIB, _PERSON, ("rating", INT, "0 to 10; no row: no answer")),
        _ratings,
        tuple,
        of_bib=True,
    ),
    TableSpec(
        "amendments",
        _columns(
            _CLASS,
            _BIB,
            _LOG,
            ("window", INT, "0: of the whole class"),
            ("slot", INT, ""),
            ("what", TEXT, "reps, held (tenths of a second), bib, name or invalid"),
            ("value", TEXT, ""),
            ("was", TEXT, ""),
            ("who", TEXT, ""),
            ("why", TEXT, ""),
            ("at_utc", TIME, ""),
            ("undone_utc", TIME, "empty: in force"),
            ("undone_by", TEXT, ""),
            ("digest", TEXT, ""),
        ),
        _amendments,
        lambda r: (*r[:10], utc(r.at_utc_us), utc(r.undone_utc_us), r.undone_by, r.digest),
        of_bib=True,
    ),
    TableSpec(
        "wearers",
        _columns(_CLASS, _BIB, _PERSON, ("absent", BOOL, "nobody wore it")),
        _wearers,
        tuple,
        of_bib=True,
    ),
    TableSpec(
        "roster",
        _columns(_PERSON, ("bib", INT, "the usual one"), ("group", TEXT, "")),
        _roster,
        tuple,
    ),
)
