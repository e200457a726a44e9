"""Efforts: what one bib was to do in one window, and what became of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any

from sqlalchemy import Row

from handbell.store.logs.recount import AGREED, AMENDED, INVALID, PARTLY, RECOUNT
from handbell.store.logs.timelines import Window
from handbell_core import journal as j
from handbell_core import timeline as t

from .queries import Amendment, ClassRecord, ResultRow

MINUTE_MS = 60_000
COUNTS = ("reps", "held", "invalid")  # amendments that say what an effort comes to

Place = tuple[int, int, int]  # run, window and slot


class Outcome(Enum):
    """How far an effort's numbers can be read."""

    DONE = "done"
    NOT_ASKED = "not asked"  # nobody was to tap
    NO_COUNT = "no count"  # a tally that nobody entered
    SET_ASIDE = "set aside"  # the coach said that it tells nothing
    SKIPPED = "skipped"
    STOPPED = "stopped"  # ended before the window was over
    PARTLY = "partly"  # the box was without power in it: at least this much
    CUT = "cut"  # the log breaks off: at least this much
    NO_RECORD = "no record"  # the box tells nothing of it


COUNTED = (Outcome.DONE, Outcome.STOPPED, Outcome.PARTLY, Outcome.CUT)  # reps stand in these
OR_MORE = (Outcome.PARTLY, Outcome.CUT)
LOST = (*OR_MORE, Outcome.NO_RECORD)  # there may be more that nobody knows


@dataclass(slots=True)  # not frozen: that takes four times as long, and a year holds 100,000
class Effort:
    """One bib in one window. Times are ``class_ms``; lengths are ms.

    ``made_ms`` is None when the target or goal was not reached or the moment is not known;
    ``drop_ms`` is None when a position was kept to the end. ``agreed`` False marks a count on
    which box and recount differ, ``confirmed`` False a tally nobody closed. ``every`` is how many
    reps a tap stands for; ``run``, ``window`` and ``slot`` lead to its taps. ``said_utc_us`` is
    when a coach last said what it comes to, 0 if nobody did; ``log`` is its log's digest.
    ``touched``: something was pressed that is not counted, such as what was set aside.
    """

    bib: int
    who: str
    station: int
    block: int
    item: int
    round: int
    name: str
    ask: int
    tap: int
    goal: int
    start_ms: int
    end_ms: int
    outcome: Outcome
    both_sides: bool = False
    reps: int | None = None
    made_ms: int | None = None
    drop_ms: int | None = None
    agreed: bool = True
    confirmed: bool = True
    every: int = 1
    run: int = 0
    window: int = 0
    slot: int = 0
    said_utc_us: int = 0
    log: str = ""
    touched: bool = False

    @property
    def made(self) -> bool | None:
        """Whether the target or goal was reached or the position kept; None: can't be said."""
        if self.outcome is not Outcome.DONE:
            return None
        if self.ask == t.ASK_HOLD:
            return self.drop_ms is None
        if not self.goal or self.reps is None:
            return None
        return self.reps >= self.goal

    @property
    def pressed(self) -> bool:
        """Whether it tells that somebody was there."""
        counted = bool(self.reps) or self.drop_ms is not None or self.made_ms is not None
        return counted or self.touched

    @property
    def finish_ms(self) -> int | None:
        """How long after the window's start the target or goal was reached."""
        return None if self.made_ms is None else self.made_ms - self.start_ms

    @property
    def earned_rest_ms(self) -> int | None:
        """What was left of the window when the target was made; an open window earns none."""
        if self.ask != t.ASK_TARGET or self.made_ms is None:
            return None
        return self.end_ms - self.made_ms

    @property
    def held_ms(self) -> int | None:
        """How long a position was kept."""
        if self.ask != t.ASK_HOLD or self.outcome is not Outcome.DONE:
            return None
        return (self.end_ms if self.drop_ms is None else self.drop_ms) - self.start_ms

    @property
    def rate(self) -> float | None:
        """Reps a minute, or seconds held; None where the taps don't tell it.

        Of a target that was made, the time to it counts; else the whole window.
        """
        if self.outcome is not Outcome.DONE or not self.confirmed:
            return None
        if self.ask == t.ASK_HOLD:
            return None if self.held_ms is None else self.held_ms / 1000
        if self.ask == t.ASK_TARGET and self.finish_ms and self.made:
            return self.goal * MINUTE_MS / self.finish_ms
        if self.reps is None or self.tap == t.TAP_FINISH:
            return None
        return self.reps * MINUTE_MS / (self.end_ms - self.start_ms)


def efforts(record: ClassRecord) -> list[Effort]:
    """Return every planned effort of a class, in the order of time, then bib.

    Where two logs tell of one window (a spare took over, or a box was started again, which plays
    its plan from the beginning), what a coach said last is taken, else the fuller result; they are
    never added up.
    Bibs marked absent are left out. A bib with a task of its own in a window has that; where the
    coach said afterwards that another bib stood there, the effort is that bib's.
    """
    absent = {w.bib for w in record.wearers.values() if w.absent}
    return [e for e in _fullest(_of_class(record)) if e.bib not in absent]


def told_twice(record: ClassRecord) -> list[list[Effort]]:
    """Return the efforts of which several logs tell something, each with the one taken first."""
    found: dict[Key, list[Effort]] = {}
    for effort in _of_class(record):
        if effort.outcome in COUNTED or effort.said_utc_us:
            found.setdefault(_key(effort), []).append(effort)
    twice = [some for _, some in sorted(found.items()) if len({e.run for e in some}) > 1]
    return [sorted(some, key=_fullness, reverse=True) for some in twice]


def _of_class(record: ClassRecord) -> list[Effort]:
    results = {(r.run, r.window, r.slot): r for r in record.results}
    said = said_of(a for a in record.amendments if a.undone_utc_us is None)
    found: list[Effort] = []
    for run in record.runs:
        some = _of_run(run.id, run.station, run.timeline.windows, results, said)
        for effort in some:
            effort.log = run.digest
        found += some
    return found


def efforts_of_run(
    run: int,
    station: int,
    windows: Mapping[int, Window],
    results: Iterable[ResultRow],
    said: Mapping[Place, int],
) -> list[Effort]:
    """Return one box's part of a class, as ``efforts`` does of all of it; absent bibs are there.

    ``said`` is when a coach last said what a place comes to.
    """
    by_place = {(r.run, r.window, r.slot): r for r in results}
    return _fullest(_of_run(run, station, windows, by_place, said))


def said_of(standing: Iterable[Amendment | Row[Any]]) -> dict[Place, int]:
    """Return when a coach last said what places come to, of amendments in force, oldest first."""
    return {(a.run, a.window, a.slot): a.at_utc_us for a in standing if a.what in COUNTS}


def _of_run(
    run: int,
    station: int,
    windows: Mapping[int, Window],
    results: Mapping[Place, ResultRow],
    said: Mapping[Place, int],
) -> list[Effort]:
    found = []
    for window in windows.values():
        for slot, planned in enumerate(window.bibs):
            result = results.get((run, window.number, slot))
            bib = planned if result is None else result.bib
            if bib:
                at_utc_us = said.get((run, window.number, slot), 0)
                found.append(_effort(run, station, window.at(slot), slot, bib, result, at_utc_us))
    return found


Key = tuple[int, int, int]


def _key(effort: Effort) -> Key:
    return effort.start_ms, effort.bib, effort.station


def _fullest(found: Iterable[Effort]) -> list[Effort]:
    best: dict[Key, Effort] = {}
    for effort in found:
        key = _key(effort)
        known = best.get(key)
        if known is None or _fullness(effort) > _fullness(known):
            best[key] = effort
    return [best[key] for key in sorted(best)]


_ORDER = {outcome: place for place, outcome in enumerate(Outcome)}


def _fullness(effort: Effort) -> tuple[int, bool, int, int, int, int, str]:
    """Return what of two results to compare: the greater one says more.

    A coach's word comes before all, the last one first. Then what was pressed, since a box that ran
    to the end untouched knows of nobody; then the more reps, the longer hold, how far the numbers
    can be read, and what was reached earlier. What is equal in all of that is taken by the logs'
    digests, so that it does not matter which log was collected first.
    """
    never_ms = effort.end_ms + 1
    return (
        effort.said_utc_us,
        effort.pressed,
        effort.reps or 0,
        effort.drop_ms or 0,
        -_ORDER[effort.outcome],
        -(never_ms if effort.made_ms is None else effort.made_ms),
        effort.log,
    )


def _effort(
    run: int,
    station: int,
    window: Window,
    slot: int,
    bib: int,
    result: ResultRow | None,
    said_utc_us: int,
) -> Effort:
    outcome = _outcome(window, result)
    reps = made_ms = drop_ms = None
    touched = False
    if result is not None and outcome not in COUNTED:
        touched = result.reps > 0 or result.made_ms >= 0 or result.held_ds != j.HELD_TO_END
    elif result is not None:
        if window.ask != t.ASK_HOLD:
            reps = result.reps
        if result.made_ms >= 0 and outcome is not Outcome.PARTLY:  # it may have been earlier
            made_ms = result.made_ms
        if window.ask == t.ASK_HOLD and result.held_ds != j.HELD_TO_END:
            drop_ms = window.start_ms + result.held_ds * 100
    return Effort(  # by place: to name the fields takes as long as all else here
        bib,
        window.who,
        station,
        window.block,
        window.item,
        window.round,
        window.name,
        window.ask,
        window.tap,
        window.goal,
        window.start_ms,
        window.end_ms,
        outcome,
        window.both_sides,
        reps,
        made_ms,
        drop_ms,
        result is None or result.standing in (AGREED, RECOUNT, PARTLY, AMENDED),
        result is None or not result.flags & j.RES_UNCONFIRMED,
        max(window.every, 1) if window.tap == t.TAP_EVERY else 1,
        run,
        window.number,
        slot,
        said_utc_us,
        touched=touched,
    )


def _outcome(window: Window, result: ResultRow | None) -> Outcome:
    if window.tap == t.TAP_NONE:
        return Outcome.NOT_ASKED
    if result is None:
        return Outcome.NO_RECORD
    if result.standing == INVALID:
        return Outcome.SET_ASIDE
    if result.flags & j.RES_SKIPPED:
        return Outcome.SKIPPED
    if result.flags & j.RES_STOPPED:
        return Outcome.STOPPED
    if result.standing == PARTLY:
        return Outcome.PARTLY
    if result.standing == RECOUNT:
        return Outcome.CUT
    if window.tap == t.TAP_TALLY and not result.reps and result.flags & j.RES_UNCONFIRMED:
        return Outcome.NO_COUNT
    return Outcome.DONE
