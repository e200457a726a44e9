"""Efforts: what one bib was to do in one window, and what became of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import Row

from handbell.store.logs.acts import LATE, LEFT_OUT, PAUSED, SHORT
from handbell.store.logs.recount import AGREED, AMENDED, INVALID, PARTLY, RECOUNT
from handbell.store.logs.timelines import Window
from handbell_core import journal as j
from handbell_core import timeline as t

from .effort import COUNTED, Effort, Outcome
from .records import Amendment, ClassRecord, ResultRow

COUNTS = ("reps", "held", "invalid")  # amendments that say what an effort comes to

Place = tuple[int, int, int]  # run, window and slot


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
        relay = window.tap == t.TAP_LEG and _is_on(run, window, results)
        for slot, planned in enumerate(window.bibs):
            result = results.get((run, window.number, slot))
            bib = planned if result is None else result.bib
            if bib:
                at_utc_us = said.get((run, window.number, slot), 0)
                effort = _effort(run, station, window.at(slot), slot, bib, result, at_utc_us)
                effort.touched |= relay  # any button hands over: who had no leg may have been there
                found.append(effort)
    return found


def _is_on(run: int, window: Window, results: Mapping[Place, ResultRow]) -> bool:
    """Return whether anybody handed over in a window."""
    places = ((run, window.number, slot) for slot in range(len(window.bibs)))
    return any(results[place].reps for place in places if place in results)


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
        if result.made_ms >= 0 and outcome not in _TIMELESS:
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
        gap_ms=None if result is None else result.median_gap_ms,
    )


# When a target was made says nothing there: it may have been earlier, or people had a rest.
_TIMELESS = (Outcome.PARTLY, Outcome.LATE, Outcome.PAUSED)


def _outcome(window: Window, result: ResultRow | None) -> Outcome:
    if window.tap == t.TAP_NONE:
        return Outcome.NOT_ASKED
    if result is None:
        return Outcome.NO_RECORD
    if result.standing == INVALID:
        return Outcome.SET_ASIDE
    if result.flags & LEFT_OUT:
        return Outcome.LEFT_OUT
    if result.flags & j.RES_SKIPPED:
        return Outcome.SKIPPED
    if result.flags & j.RES_STOPPED:
        return Outcome.STOPPED
    if result.standing == PARTLY:
        return Outcome.PARTLY
    if result.flags & LATE:
        return Outcome.LATE
    if result.standing == RECOUNT:
        return Outcome.CUT
    if window.tap == t.TAP_TALLY and not result.reps and result.flags & j.RES_UNCONFIRMED:
        return Outcome.NO_COUNT
    if result.flags & SHORT:
        return Outcome.SHORT
    return Outcome.PAUSED if result.flags & PAUSED else Outcome.DONE
