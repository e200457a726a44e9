"""What each bib did in each window, as SQL: the rules of ``handbell.analysis.efforts`` as a query.

A test holds the two against each other on classes of every kind.
"""

from __future__ import annotations

from sqlalchemy import CTE, ColumnElement, and_, case, false, func, null, or_, select

from handbell_core import journal as j
from handbell_core import timeline as t

from .recount import INVALID, RECOUNT
from .tables import results, runs, tasks, wearers

# In the order in which one result is taken before another of the same bib, time and station.
DONE, NOT_ASKED, NO_COUNT, SET_ASIDE, SKIPPED, STOPPED, CUT, NO_RECORD = range(8)
COUNTED = (DONE, STOPPED, CUT)  # reps stand in these


def effort_rows(classes: ColumnElement[bool]) -> CTE:
    """Return a row for each effort of the runs that a condition leaves, absent bibs left out.

    Where two boxes played the same station, the fuller result is taken.
    """
    every = _every(classes)
    counted = case((every.c.outcome.in_(COUNTED), every.c.reps), else_=0)
    place = func.row_number().over(
        partition_by=(every.c.class_id, every.c.bib, every.c.start_ms, every.c.station),
        order_by=(every.c.outcome, counted.desc(), every.c.run),
    )
    ranked = select(every, place.label("place")).cte("ranked")
    done = ranked.c.outcome == DONE
    target = and_(done, ranked.c.ask == t.ASK_TARGET, ranked.c.goal > 0)
    hold = and_(done, ranked.c.ask == t.ASK_HOLD)
    counts = and_(ranked.c.outcome.in_(COUNTED), ranked.c.ask != t.ASK_HOLD)
    known = and_(ranked.c.outcome.in_(COUNTED), ranked.c.made_ms >= 0)
    return (
        select(
            *(c for c in ranked.c if c.name not in ("place", "reps")),
            case((counts, ranked.c.reps)).label("reps"),
            target.label("judged"),
            and_(target, ranked.c.reps >= ranked.c.goal).label("made"),
            case((known, ranked.c.made_ms - ranked.c.start_ms)).label("finish_ms"),
            case(
                (and_(known, ranked.c.ask == t.ASK_TARGET), ranked.c.end_ms - ranked.c.made_ms)
            ).label("earned_rest_ms"),
            hold.label("held"),
            and_(hold, ranked.c.held_ds == j.HELD_TO_END).label("kept"),
        )
        .where(ranked.c.place == 1)
        .cte("efforts")
    )


def _every(classes: ColumnElement[bool]) -> CTE:
    there = and_(
        results.c.run == runs.c.id,
        results.c.window == tasks.c.window,
        results.c.slot == tasks.c.slot,
    )
    bib = func.coalesce(results.c.bib, tasks.c.bib)
    worn = and_(wearers.c.class_id == runs.c.class_id, wearers.c.bib == bib)
    fields = "start_ms end_ms block round item ask tap every goal both_sides name who"
    return (
        select(
            runs.c.class_id,
            runs.c.id.label("run"),
            runs.c.station,
            tasks.c.window,
            tasks.c.slot,
            bib.label("bib"),
            *(tasks.c[name] for name in fields.split()),
            results.c.reps,
            results.c.made_ms,
            results.c.held_ds,
            results.c.median_gap_ms,
            results.c.best_gap_ms,
            results.c.worst_gap_ms,
            _outcome().label("outcome"),
        )
        .select_from(runs)
        .join(tasks, tasks.c.timeline == runs.c.timeline)
        .outerjoin(results, there)
        .outerjoin(wearers, worn)
        .where(classes, or_(wearers.c.absent == null(), wearers.c.absent == false()))
        .cte("every_effort")
    )


def _outcome() -> ColumnElement[int]:
    def flagged(bit: int) -> ColumnElement[bool]:
        return results.c.flags.bitwise_and(bit) != 0

    empty = and_(tasks.c.tap == t.TAP_TALLY, results.c.reps == 0, flagged(j.RES_UNCONFIRMED))
    return case(
        (tasks.c.tap == t.TAP_NONE, NOT_ASKED),
        (results.c.run == null(), NO_RECORD),
        (results.c.standing == INVALID, SET_ASIDE),
        (flagged(j.RES_SKIPPED), SKIPPED),
        (flagged(j.RES_STOPPED), STOPPED),
        (results.c.standing == RECOUNT, CUT),
        (empty, NO_COUNT),
        else_=DONE,
    )
