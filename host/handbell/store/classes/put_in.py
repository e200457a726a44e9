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
from handbell_core import journal as j

from .together import Log, Pair

THERE_MS = 2_000  # so far apart boxes may be that are at the same place of a class


def met_by(conn: Connection, some: Iterable[Row[Any]]) -> dict[int, frozenset[str]]:
    """Return of each run whose box a host put into a class the runs, by digest, that were there.

    That is, at the same place of the plan at that moment, each by its own clock; and of that box
    itself those that were with them when they ended.
    """
    timed = [row for row in some if row.start_utc_us is not None]
    late = [row for row in timed if row.started_by == journals.LATE and row.led_key is None]
    if not late:
        return {}
    of = select(runs.c.id, runs.c.journal).where(runs.c.id.in_([row.id for row in timed]))
    ways = {row.id: course_of(j.parse(bytes(row.journal))[0]) for row in conn.execute(of)}
    found = {}
    for row in late:
        at = next((at for at in ways[row.id].track if at.clock == UTC), None)
        if at is None:
            continue
        others = [o for o in timed if o.box_id != row.box_id and _was_there(ways[o.id], at)]
        own = [o for o in timed if o.box_id == row.box_id and o.id != row.id]
        before = [o for o in own if _was_with(ways[o.id], [ways[m.id] for m in others], at)]
        found[row.id] = frozenset(o.digest for o in (*others, *before) if o not in late)
    return found


def _was_there(way: Course, at: At) -> bool:
    """Whether a box was where another one began."""
    there = way.at(at.utc_ms)
    if there is None or there.clock != UTC:
        return False
    if there.runs and way.end_utc_ms is not None and way.end_utc_ms < at.utc_ms:
        return False
    return _at_one_place(there, at, at.utc_ms)


def _was_with(way: Course, others: Sequence[Course], at: At) -> bool:
    """Whether a box that was put in again was with others before, or would be there by now."""
    last = next((one for one in reversed(way.track) if one.clock == UTC), None)
    if last is None or last.utc_ms > at.utc_ms:
        return False
    if not others:
        return _at_one_place(last, at, at.utc_ms)
    end_ms = way.end_utc_ms if way.end_utc_ms is not None else last.utc_ms
    there = (other.at(end_ms) for other in others)
    return any(one is not None and _at_one_place(one, last, end_ms) for one in there)


def _at_one_place(one: At, other: At, utc_ms: int) -> bool:
    return abs(one.class_ms_at(utc_ms) - other.class_ms_at(utc_ms)) <= THERE_MS


def apart_by(late: Sequence[Log], logs: Sequence[Log]) -> set[Pair]:
    """Return the pairs that can't be one class, since one's box was put into the other's later."""
    found = set()
    for log in late:
        for own in logs:
            if own.box_id == log.box_id and own is not log and own.digest not in log.meets:
                found |= {(own.digest, met) for met in log.meets}
    return found | {(other, one) for one, other in found}


def put_in(log: Log, groups: list[list[Log]]) -> None:
    """Add the log of a box that a host put into a class to that class; it moves no other.

    Of two halls that were at the same place at once it is the one whose box it was, else the one
    that lacks its station.
    """
    there = [g for g in groups if any(other.digest in log.meets for other in g)]
    if not there:
        groups.append([log])
        return

    def fits(group: list[Log]) -> tuple[bool, bool, int, str]:
        return (
            any(other.box_id == log.box_id for other in group),
            all(other.station != log.station for other in group),
            sum(other.digest in log.meets for other in group),
            min(other.digest for other in group),
        )

    max(there, key=fits).append(log)
