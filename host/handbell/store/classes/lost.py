"""Of which classes a log without a clock may be: the one rule for filing, doubts and ``--join``.

A box tells when such a log can have begun (``played``). It may be of each class of its plan that
can have been going on then and lacks it. How far apart things were collected shuts out none; it
only tells what is known for certain, and what is likely.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from .together import (
    COLLECTING_US,
    LATELY_US,
    Log,
    came_before,
    collected_together,
    led_apart,
    may_be_of,
    start_of,
    started_again,
)


def spell(log: Log) -> tuple[int, int]:
    """Return from when to when the class of a log can have been going on, in UTC us."""
    if log.start_utc_us is not None:
        return log.start_utc_us, log.start_utc_us + log.slot_us
    return log.since_us, min(log.until_us, log.collected_utc_us)


def spell_of(group: Sequence[Log]) -> tuple[int, int]:
    """Return from when to when a class can have been going on; one with a clock tells it."""
    start = start_of(group)
    if start is not None:
        return start, start + group[0].slot_us
    spells = [spell(log) for log in group]
    return max(since for since, _ in spells), min(until for _, until in spells)


def at_one_time(some: Sequence[Log], others: Sequence[Log]) -> bool:
    """Whether two groups of logs can have been one class, by their times alone.

    Boxes that are collected one after the other leave a gap in which nobody can have played.
    """
    mine, yours = spell_of(some), spell_of(others)
    since, until = max(mine[0], yours[0]), min(mine[1], yours[1])
    if start_of(some) is None and start_of(others) is None:
        return until - since >= least_us(some[0])
    return until >= since and mine[1] > yours[0] and yours[1] > mine[0]


def least_us(log: Log) -> int:
    """Return how long the spells of two logs without a clock must overlap."""
    return min(log.slot_us, COLLECTING_US)


def surely_before(one: Sequence[Log], other: Sequence[Log]) -> bool:
    """Whether one class was before the other, as far as their times tell."""
    start, later = start_of(one), start_of(other)
    if start is not None and later is not None:
        return start < later
    return not at_one_time(one, other) and spell_of(one)[1] <= spell_of(other)[1]


def lacks(group: Iterable[Log], log: Log) -> bool:
    """Whether a class has room for a log's box at its station; one that was cut off has."""
    return not any(
        other.station == log.station and (other.box_id == log.box_id or (other.whole and log.whole))
        for other in group
    )


def may_be(log: Log, group: Sequence[Log]) -> bool:
    """Whether a log without a clock may be of a class."""
    return lacks(group, log) and at_one_time([log], group) and not led_apart([log], group)


def near(log: Log, group: Sequence[Log]) -> bool:
    """Whether a log was collected so that no other class can have been between, most likely."""
    if start_of(group) is None:
        return any(collected_together(log, other) for other in group)
    return any(may_be_of(log, other) for other in group)


def certain(log: Log, group: Sequence[Log], columns: Iterable[Sequence[Log]]) -> bool:
    """Whether a log is surely of the only class that it may be of.

    Not where its box was not collected over several days on which its plan was played: then it may
    have been left behind with a log of a class that is not in the store. ``columns`` are all
    classes of its plan.
    """
    if any(other.station == log.station and other.whole for other in group):
        return False
    day = _day_of(group)
    since, until = spell(log)
    for other in columns:
        at = _day_of(other)
        inside = since < at <= until and abs(at - day) > LATELY_US
        if inside and at_one_time([log], other):
            return False
    return near(log, group)


def _day_of(group: Sequence[Log]) -> int:
    """Return about when a class was, in UTC us."""
    return spell_of(group)[0 if start_of(group) is not None else 1]


def likeliest(log: Log, groups: Sequence[Sequence[Log]], places: Iterable[int]) -> list[int]:
    """Return places of classes, the likeliest first: those near in time, else in their order."""

    def far(place: int) -> tuple[bool, int, int]:
        group = groups[place]
        return not near(log, group), abs(log.given_us - _day_of(group)) // LATELY_US, place

    return sorted(places, key=far)


def went_on(log: Log, group: Sequence[Log], of_box: Sequence[Log]) -> bool:
    """Whether a box may have been started again, without a clock, in the class that cut it off.

    What it played between was cut off too.
    """
    same = [other for other in group if other.box_id == log.box_id]
    if not same or not at_one_time([log], [*same, *(o for o in group if o not in same)]):
        return False
    if led_apart([log], group):
        return False
    first = min(other.boot for other in same)
    between = [o for o in of_box if first < o.boot and came_before(o, log)]
    return all(started_again(other, log) for other in (*same, *between))
