"""Where logs without a clock go: into classes with one, or together among themselves.

A box's logs stay in their order, and each is of another class, unless the box was cut off and
started again: then the next log may be the rest of the same one. Of which classes a log may be is
said by ``lost``; what is not certain stays alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from .byhand import Groups, Untimed, boxes_of, by_sessions, in_boxes, once_at_a_station
from .lost import at_one_time, certain, lacks, likeliest, may_be, near, surely_before, went_on
from .together import Log, came_before, fixed, led_apart, said, start_of, started_again
from .ways import ways


def place_lost(lost: Sequence[Log], timed: Groups, known: Groups, logs: Sequence[Log]) -> Untimed:
    """Put logs without a clock into classes, or together, or leave them alone and say why.

    ``timed`` are the classes with a clock, ``known`` those without of which is known what is of
    them; both get what is certainly of them. The places are those of ``timed``, then ``known``,
    then new ones.
    """
    inside = _in_a_timed_one(lost, timed, logs)
    left = [log for log in lost if log.digest not in inside]
    found = Untimed([*timed, *known])
    alone = [log for log in lost if log.digest in inside]
    alone += by_sessions(left, timed, known, found)
    _by_rule(alone, inside, len(timed), logs, found)
    _whole_ones(len(timed), found)
    return found


def _in_a_timed_one(lost: Sequence[Log], timed: Groups, logs: Sequence[Log]) -> set[str]:
    """Return the logs that may well be of a class with a clock, by what was collected when.

    Not where several boxes had none: these may have been a class by hand.
    """
    found: set[str] = set()
    for group in timed:
        some = [
            log
            for log in lost
            if near(log, group) and (may_be(log, group) or _went_on(log, group, logs))
        ]
        new = {log.box_id for log in some} - {other.box_id for other in group}
        if len(new) < 2:
            found |= {log.digest for log in some}
    return found


def _went_on(log: Log, group: Sequence[Log], logs: Iterable[Log]) -> bool:
    return went_on(log, group, [other for other in logs if other.box_id == log.box_id])


def _by_rule(
    alone: Sequence[Log], inside: set[str], timed: int, logs: Sequence[Log], found: Untimed
) -> None:
    """Put each log into the class that it is surely of, or alone with those that it may be of.

    Into one with a clock only those ``inside``. A class that is a single log is looked at as if it
    were alone, but stays what it is.
    """
    columns = [list(group) for group in found.classes]
    singles = {
        group[0].digest: place
        for place, group in enumerate(columns)
        if place >= timed and len(group) == 1 and not fixed(group)
    }
    before = [[surely_before(one, other) for other in columns] for one in columns]
    rows = [*alone, *(columns[place][0] for place in singles.values())]
    sure: dict[int, list[Log]] = {}
    left_alone: dict[int, Log] = {}
    for mine in in_boxes(rows).values():
        of_box = [log for log in logs if log.box_id == mine[0].box_id]
        own = {singles[log.digest] for log in mine if log.digest in singles}
        fits = [
            [
                p not in own and may_be(log, g) and _in_turn(log, p, columns, before)
                for p, g in enumerate(columns)
            ]
            for log in mine
        ]
        cut = [
            [p not in own and went_on(log, g, of_box) for p, g in enumerate(columns)]
            for log in mine
        ]
        again = [n > 0 and started_again(mine[n - 1], log) for n, log in enumerate(mine)]
        none = [[False] * len(columns)] * len(mine)
        loose = range(timed, len(columns))
        plain = ways(fits, none, [False] * len(mine), before, loose)
        both = zip(plain, ways(fits, cut, again, before, loose), strict=True)
        for n, (whole, rests) in enumerate(both):
            log, place = mine[n], singles.get(mine[n].digest)
            rest_of = [p for p, may in enumerate(cut[n]) if may]
            first = {*whole[0], *rests[0], *rest_of[-1:]}
            more = {p for p, may in enumerate(fits[n]) if may} - first
            among = likeliest(log, columns, first) + likeliest(log, columns, more)
            only = place is None and len(first) == 1 and not rest_of and whole[1] and rests[1]
            only = only and (log.digest in inside or min(first) >= timed)
            only = only and not _rivals(log, columns[among[0]], alone, inside)
            if only and certain(log, columns[among[0]], columns):
                sure.setdefault(among[0], []).append(log)
                continue
            if place is None:
                place = len(found.classes)
                found.classes.append([log])
                left_alone[place] = log
            if among:
                found.unsure[place] = among
            in_time = [p for p in rest_of if p < timed]
            if in_time and all(p == in_time[-1] or before[p][in_time[-1]] for p in first):
                found.again[place] = in_time[-1]
    for place, some in sorted(sure.items()):
        once, others = once_at_a_station(some)
        found.classes[place] += once
        if once and place >= timed and place not in found.untold:
            found.untold.append(place)
        for log in others:
            found.unsure[len(found.classes)] = [place]
            found.classes.append([log])
    _each_other(left_alone, found)


def _rivals(log: Log, group: Sequence[Log], alone: Sequence[Log], inside: set[str]) -> list[Log]:
    """Return lone logs with which a log may have been a class, that can't be of this one."""
    return [
        other
        for other in alone
        if other.digest not in inside
        and _may_be_one(log, other)
        and not at_one_time([other], group)
    ]


def _may_be_one(one: Log, other: Log) -> bool:
    apart = one.box_id != other.box_id and one.station != other.station
    return apart and at_one_time([one], [other])


def _each_other(left_alone: dict[int, Log], found: Untimed) -> None:
    """Add to what a lone log may be of those other lone logs with which it may have been one."""
    lone = left_alone | {place: found.classes[place][0] for place in found.unsure}
    for place, log in lone.items():
        of = found.unsure.get(place, [])
        of = of + [p for p, other in lone.items() if p not in of and _may_be_one(log, other)]
        if of:
            found.unsure[place] = of


def _in_turn(log: Log, place: int, columns: Groups, before: list[list[bool]]) -> bool:
    """Whether a class is in its turn beside those that have other logs of a box without a clock."""
    for p, group in enumerate(columns):
        for other in group:
            if other.box_id != log.box_id or other.start_utc_us is not None:
                continue
            if came_before(other, log) and before[place][p]:
                return False
            if came_before(log, other) and before[p][place]:
                return False
    return True


def _whole_ones(timed: int, found: Untimed) -> None:
    """Say of which others a whole class without a clock may be; a coach knows that of his."""
    lone = set(found.unsure)
    for place, group in enumerate(found.classes[timed:], timed):
        if len(group) < 2 or place in lone or said(group) or all(log.key for log in group):
            continue
        others = [
            p
            for p, other in enumerate(found.classes)
            if p not in lone
            and (p < place or said(other))
            and p != place
            and (start_of(other) is not None or len(other) > 1)
            and all(lacks(other, log) and log.box_id not in boxes_of(other) for log in group)
            and at_one_time(group, other)
            and not led_apart(group, other)
        ]
        if others:
            found.maybe.append((place, likeliest(group[0], found.classes, others)))
