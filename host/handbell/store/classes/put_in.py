"""Logs of boxes that a host put into a class that was on, where no remote led it.

Such a log tells where the class was when its box came in, not when the class began: it may have
waited at gates. So it goes to the logs that were at the same place at that moment, and moves none.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import Connection, Row, select

from handbell.store.database.tables import runs
from handbell.store.logs import journals
from handbell.store.logs.courses import UTC, At, Course, course_of
from handbell.store.logs.dating import BY_HAND
from handbell_core import journal as j

from .together import Log, Pair, whose

THERE_MS = 2_000  # so far apart boxes may be that are at the same place of a class
MARKS_MS = 65_000  # two marks of a grid, as boxes that people start may be apart
STOOD_MS = 3_600_000  # nobody waits at a gate longer
WENT_ON_MS = 20 * 60_000  # boxes of a class go on from a gate so near to each other


def is_put_in(run: Row[Any]) -> bool:
    """Whether a host put a run's box into its class, where no remote led it."""
    return bool(run.started_by == journals.LATE and run.led_key is None)


def met_by(conn: Connection, some: Iterable[Row[Any]]) -> dict[int, tuple[tuple[str, int], ...]]:
    """Return of each run whose box a host put into a class what it met, as in ``Log``.

    That is, runs of the same hall or origin at the same place of the plan at that moment, each by
    its own clock, of those that were put in themselves those that were earlier; and of that box
    itself those that were of their class before.
    """
    timed = [row for row in some if row.start_utc_us is not None]
    late = [row for row in timed if is_put_in(row)]
    if not late:
        return {}
    of = select(runs.c.id, runs.c.journal).where(runs.c.id.in_([row.id for row in timed]))
    journal = {row.id: bytes(row.journal) for row in conn.execute(of)}
    ways = {row.id: way_of(row, journal[row.id]) for row in timed}
    came_in = {row.id: at for row in late if (at := ways[row.id].came_in) is not None}
    found = {}
    for row in late:
        at = came_in.get(row.id)
        if at is None:
            continue
        mine = whose(row.hall, row.origin)
        rest = [
            o
            for o in timed
            if whose(o.hall, o.origin) == mine
            and (not is_put_in(o) or (o.id in came_in and came_in[o.id].utc_ms < at.utc_ms))
        ]
        met = [
            (o, apart_ms)
            for o in rest
            if o.box_id != row.box_id
            and (apart_ms := _apart_ms(ways[o.id], ways[row.id], at)) is not None
        ]
        own = [
            o
            for o in rest
            if o.box_id == row.box_id
            and _was_with(o, ways[o.id], [(m, ways[m.id]) for m, _ in met], at)
        ]
        found[row.id] = (
            *((o.digest, apart_ms) for o, apart_ms in met),
            *((o.digest, 0) for o in own),
        )
    return found


def way_of(run: Row[Any], journal: bytes) -> Course:
    """Return a box's way, as much later as a coach said that its class was."""
    way = course_of(j.parse(journal)[0])
    if run.dated_by != BY_HAND:
        return way
    logged_us = journals.read(journal, journals.Played(run.timeline, run.station)).start_utc_us
    return way if logged_us is None else way.moved((run.start_utc_us - logged_us) // 1000)


def _apart_ms(way: Course, late: Course, at: At) -> int | None:
    """Return by how much a box was not where another one began, at ``at``; None: it was not there.

    Who stood is held against it by when both went on: a class of another day may have ended there.
    """
    there = way.at(at.utc_ms)
    if there is None or there.clock != UTC or not _at_one_place(there, at, at.utc_ms):
        return None
    if there.runs:
        gone = way.end_utc_ms is not None and way.end_utc_ms < at.utc_ms
        return None if gone else abs(there.class_ms_at(at.utc_ms) - at.class_ms)
    mine, theirs = _goes_on(late, at.utc_ms), _goes_on(way, at.utc_ms)
    if mine is not None and theirs is not None:
        return abs(mine - theirs) if abs(mine - theirs) <= WENT_ON_MS else None
    stood_ms = at.utc_ms - there.utc_ms
    return WENT_ON_MS + stood_ms if stood_ms <= STOOD_MS else None


def _goes_on(way: Course, utc_ms: int) -> int | None:
    later = (one.utc_ms for one in way.track if one.clock == UTC and one.runs)
    return next((one for one in later if one > utc_ms), None)


def _was_with(own: Row[Any], way: Course, met: Sequence[tuple[Row[Any], Course]], at: At) -> bool:
    """Whether a box that was put in again was of that class before, maybe some marks off."""
    last = next((one for one in reversed(way.track) if one.clock == UTC), None)
    if last is None or last.utc_ms > at.utc_ms:
        return False
    if not met:
        stood_ms = 0 if last.runs else at.utc_ms - last.utc_ms
        return stood_ms <= STOOD_MS and _at_one_place(last, at, at.utc_ms)
    end_ms = way.end_utc_ms if way.end_utc_ms is not None else last.utc_ms
    for row, other in met:
        there = other.at(end_ms)
        after_ms = (own.start_utc_us - row.start_utc_us) // 1000
        least_ms = -MARKS_MS if row.started_by == journals.STARTERS[j.BY_HAND] else -THERE_MS
        if least_ms <= after_ms <= MARKS_MS:  # nobody takes a mark before the one a host has set
            return True
        if there is not None and _at_one_place(there, last, end_ms):
            return True
    return False


def _at_one_place(one: At, other: At, utc_ms: int) -> bool:
    return abs(one.class_ms_at(utc_ms) - other.class_ms_at(utc_ms)) <= THERE_MS


def in_turn(late: Sequence[Log]) -> list[Log]:
    """Return logs of boxes that were put in so that each comes after those of them that it met."""
    left, found, done = list(late), [], {log.digest for log in late}
    while left:
        first = next((log for log in left if not log.met & done - {log.digest}), left[0])
        left.remove(first)
        done.discard(first.digest)
        found.append(first)
    return found


def apart_by(late: Sequence[Log], logs: Sequence[Log]) -> set[Pair]:
    """Return the pairs that can't be one class, since one's box was put into the other's later."""
    found = set()
    for log in late:
        for own in logs:
            if own.box_id == log.box_id and own is not log and own.digest not in log.met:
                found |= {(own.digest, met) for met in log.met}
    return found | {(other, one) for one, other in found}


def put_in(log: Log, groups: list[list[Log]]) -> None:
    """Add the log of a box that a host put into a class to that class; it moves no other.

    Of two halls that were at the same place at once it is the one with which it went on; else the
    one whose box it was, else the one that lacks its station.
    """
    apart_ms = dict(log.meets)
    met = {
        place: some
        for place, group in enumerate(groups)
        if (some := [other for other in group if other.digest in apart_ms])
    }
    # What the box itself did before says where it was only if no other box does.
    beside = {
        place: some
        for place, known in met.items()
        if (some := [other for other in known if other.box_id != log.box_id])
    }
    near = {
        place: min(apart_ms[other.digest] for other in some)
        for place, some in (beside or met).items()
    }
    if not near:
        groups.append([log])
        return
    most_ms = min(near.values()) + THERE_MS

    def fits(place: int) -> tuple[bool, bool, bool, int, str]:
        group = groups[place]
        return (
            near[place] > most_ms,
            all(other.box_id != log.box_id for other in group),
            any(other.station == log.station for other in group),
            near[place],
            min(other.digest for other in group),
        )

    groups[min(near, key=fits)].append(log)
