"""Which logs of a plan are one class: one playing of it, by all the boxes that took part.

The answer depends on the logs alone, never on the order in which they came in.

Logs with a clock: those whose starts are nearest go together first, as long as all of a class lie
within 20 minutes and less than the plan's own length. Of those that began at once a box goes first
to the boxes that lack its station. A box takes part in a class once at a station. Two boxes of one
station are two halls when their presses mix as those of two people do who don't know of each other
(``mixed``). A spare takes turns with the box whose place it takes: then it is one class. Two boxes
of a station in one class are always said.

Logs without a clock: a box's logs, in their order, go to the classes that lack that box, in
theirs, if there is only one way to place as many as possible. Else a log is a class of its own
and it is said which classes it may be of. A box that was cut off in a class and has a log of a
later start may have been started again there: then that class is among them, and the most likely
one where no later class lacks the box. No log is of a class that had ended before one that has an
earlier log of its box.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import combinations

from .together import (
    MINUTE_US,
    Log,
    Pair,
    came_before,
    clashing_pairs,
    filed,
    said,
    start_apart,
    started_again,
    starts_near,
    timed_groups,
)

COLLECTING_US = 30 * MINUTE_US
LATELY_US = 12 * 60 * MINUTE_US

Doubt = tuple[Log, list[int], int | None]  # a log, where it may be, where most likely


@dataclass
class Parted:
    """Logs by class; the doubts are places in ``classes``.

    ``unsure`` has, for a class that is one log without a clock, the classes it may be of; ``again``
    the one in which its box was cut off before, where no later one may be it.
    ``halls`` are pairs kept apart only since both were pressed at the same station and time.
    ``shared`` are classes in which two boxes of a station are, which nobody said. ``either`` are
    logs that came to one of two classes that a coach parted, and may be of the other as well.
    """

    classes: list[list[Log]] = field(default_factory=list)
    unsure: dict[int, list[int]] = field(default_factory=dict)
    again: dict[int, int] = field(default_factory=dict)
    halls: list[tuple[int, int, int]] = field(default_factory=list)  # and the station
    shared: list[tuple[int, int]] = field(default_factory=list)  # and the station
    either: list[tuple[Log, int, int]] = field(default_factory=list)  # and the other


def parted(logs: Iterable[Log]) -> Parted:
    """Return which logs are one class."""
    by_origin: dict[str, list[Log]] = {}
    for log in sorted(logs, key=lambda log: log.digest):
        by_origin.setdefault(log.origin or "", []).append(log)
    found = Parted()
    for some in by_origin.values():
        _part(some, found)
    return found


def touch(one: Log, other: Log) -> bool:
    """Whether the place of one log may depend on the other."""
    if one.origin != other.origin:
        return False
    if one.filed is not None and one.filed == other.filed:
        return True
    if one.start_utc_us is not None and other.start_utc_us is not None:
        return starts_near(one, other)  # of a short plan a whole day would hang together otherwise
    if one.start_utc_us is None and other.start_utc_us is None:
        return _collected_together(one, other)
    lost, timed = (one, other) if one.start_utc_us is None else (other, one)
    return _may_be_of(lost, timed)


def _may_be_of(lost: Log, timed: Log) -> bool:
    start = timed.start_utc_us
    if start is None or start > lost.collected_utc_us:
        return False
    return start >= lost.collected_utc_us - LATELY_US or _collected_together(lost, timed)


def _collected_together(one: Log, other: Log) -> bool:
    return abs(one.collected_utc_us - other.collected_utc_us) <= COLLECTING_US


def _part(logs: Sequence[Log], found: Parted) -> None:
    """Part the logs of one origin."""
    clashing = clashing_pairs(logs)
    groups = timed_groups(logs, clashing)
    timed = [group for group in groups if _start_of(group) is not None]
    timed.sort(key=lambda group: (_start_of(group) or 0, group[0].digest))
    fixed = [group for group in groups if _start_of(group) is None and group[0].filed is not None]
    lost = [g[0] for g in groups if _start_of(g) is None and g[0].filed is None]
    first = len(found.classes)
    found.classes += timed
    unsure, left = _place(lost, timed, logs)
    found.classes += fixed
    for log, among, again in unsure:
        found.unsure[len(found.classes)] = [first + place for place in among]
        if again is not None:
            found.again[len(found.classes)] = first + again
        found.classes.append([log])
    _without_any_clock(left, found)
    for (m, one), (n, other) in combinations(enumerate(timed, first), 2):
        station = _halls(one, other, clashing)
        if station is not None:
            found.halls.append((m, n, station))
        found.either += [(log, m, n) for log in _as_near(one, other, clashing)]
        found.either += [(log, n, m) for log in _as_near(other, one, clashing)]
    for place, group in enumerate(found.classes[first:], first):
        found.shared += [(place, station) for station in sorted(_shared(group))]


def _start_of(group: Iterable[Log]) -> int | None:
    return min((g.start_utc_us for g in group if g.start_utc_us is not None), default=None)


def _shared(group: Iterable[Log]) -> set[int]:
    """Return the stations at which two boxes of a class were, which nobody said.

    A clean change to a spare is among them: a box of another hall that was pressed seldom, or lost
    power early, looks like one.
    """
    return {
        one.station
        for one, other in combinations(group, 2)
        if one.station == other.station and not _said_both(one, other)
    }


def _said_both(one: Log, other: Log) -> bool:
    """Whether a coach said that two logs are of one class."""
    return one.filed == other.filed and said([one]) and said([other])


def _halls(one: Sequence[Log], other: Sequence[Log], clashing: set[Pair]) -> int | None:
    """Return the station by which two classes were told apart, None if it was not by that."""
    pairs = [(a, b) for a in one for b in other]
    if not all(starts_near(a, b) for a, b in pairs):
        return None
    if said(one) and said(other):
        return None
    clashes = [(a, b) for a, b in pairs if (a.digest, b.digest) in clashing]
    if not clashes or any(a.box_id == b.box_id for a, b in clashes):
        return None
    return min(a.station for a, _ in clashes)


def _as_near(mine: Sequence[Log], yours: Sequence[Log], clashing: set[Pair]) -> list[Log]:
    """Return the logs of a class that began as near to another one; a coach said what both are."""
    if not filed(mine) or not filed(yours):
        return []
    found = []
    for log in mine:
        others = [other for other in mine if other is not log]
        may = all(
            starts_near(log, b)
            and log.station != b.station
            and (log.digest, b.digest) not in clashing
            for b in yours
        )
        near = start_apart(log, yours)
        if log.filed is None and may and near is not None and near == start_apart(log, others):
            found.append(log)
    return found


def _place(
    lost: Sequence[Log], timed: list[list[Log]], logs: Sequence[Log]
) -> tuple[list[Doubt], list[Log]]:
    """Put logs without a clock into classes; return those in doubt, and those that fit none."""
    by_box: dict[str, list[Log]] = {}
    for log in sorted(lost, key=lambda log: (log.boot, log.collected_utc_us, log.run)):
        by_box.setdefault(log.box_id, []).append(log)
    sure: dict[int, list[Log]] = {}
    unsure: list[Doubt] = []
    left: list[Log] = []
    for box_id, mine in sorted(by_box.items()):
        of_box = [log for log in logs if log.box_id == box_id]
        before = [log.collected_utc_us for log in of_box]
        able = [[not _too_early(log, group, timed) for group in timed] for log in mine]
        fits = [
            [may and _fits(log, group, before) for may, group in zip(row, timed, strict=True)]
            for log, row in zip(mine, able, strict=True)
        ]
        for log, row, among, certain in zip(mine, able, *_ways(fits), strict=True):
            cut = [p for p, group in enumerate(timed) if row[p] and _went_on(log, group, of_box)]
            if cut:  # they are in the order of their starts
                most_likely = not among or among[-1] <= cut[-1]
                unsure.append((log, sorted({*among, cut[-1]}), cut[-1] if most_likely else None))
            elif certain:
                sure.setdefault(among[0], []).append(log)
            elif among:
                unsure.append((log, among, None))
            else:
                left.append(log)
    for place, some in sorted(sure.items()):
        once, more = _once_at_a_station(some)
        timed[place] += once
        unsure += [(log, [place], None) for log in more]
    return unsure, left


def _went_on(lost: Log, group: Sequence[Log], of_box: Sequence[Log]) -> bool:
    """Whether a box may have been started again, without a clock, in the class that cut it off.

    What it played between was cut off too, and it was not collected since the class was over.
    """
    same = [other for other in group if other.box_id == lost.box_id]
    if not any(_may_be_of(lost, other) for other in same):
        return False
    since = min(other.boot for other in same)
    between = [o for o in of_box if o.boot > since and came_before(o, lost)]
    if not all(started_again(other, lost) for other in (*same, *between)):
        return False
    earlier_us = lost.collected_utc_us - COLLECTING_US
    over_us = (_start_of(group) or 0) + 2 * lost.slot_us  # the rest began before its end
    return not any(over_us < o.collected_utc_us <= earlier_us for o in of_box)


def _too_early(lost: Log, group: Sequence[Log], timed: Sequence[Sequence[Log]]) -> bool:
    """Whether a class was over before one began that has an earlier log of a log's box."""
    over_us = (_start_of(group) or 0) + lost.slot_us
    return any(
        came_before(other, lost)
        for later in timed
        if (_start_of(later) or 0) >= over_us
        for other in later
    )


def _once_at_a_station(some: Sequence[Log]) -> tuple[list[Log], list[Log]]:
    """Divide logs into those that can be of one class, and whole ones of the same station."""
    whole: dict[int, int] = {}
    for log in some:
        whole[log.station] = whole.get(log.station, 0) + log.whole
    once = [log for log in some if whole[log.station] <= 1]
    return once, [log for log in some if whole[log.station] > 1]


def _fits(lost: Log, group: Sequence[Log], collected: Iterable[int]) -> bool:
    """Whether a log without a clock may be of a class.

    Its box gave all that it had when it was collected before, so the class ended after that.
    """
    for other in group:
        if other.station == lost.station and (other.box_id == lost.box_id or other.whole):
            return False
    earlier = [at for at in collected if at <= lost.collected_utc_us - COLLECTING_US]
    start = _start_of(group) or 0
    if earlier and start + group[0].slot_us < max(earlier):
        return False
    return any(_may_be_of(lost, other) for other in group)


def _ways(fits: Sequence[Sequence[bool]]) -> tuple[list[list[int]], list[bool]]:
    """Return, for each of a box's logs, in which classes it is when as many as can be are placed.

    Both are in order of time and stay so. Besides, for each whether it is in the same class in
    every way of doing that.
    """
    rows, columns = len(fits), len(fits[0]) if fits else 0
    before = [[0] * (columns + 1) for _ in range(rows + 1)]
    after = [[0] * (columns + 1) for _ in range(rows + 1)]
    for r in range(rows):
        for c in range(columns):
            taken = before[r][c] + fits[r][c]
            before[r + 1][c + 1] = max(taken, before[r][c + 1], before[r + 1][c])
    for r in reversed(range(rows)):
        for c in reversed(range(columns)):
            taken = after[r + 1][c + 1] + fits[r][c]
            after[r][c] = max(taken, after[r + 1][c], after[r][c + 1])
    most = before[rows][columns]
    among, certain = [], []
    for r in range(rows):
        there = [
            c
            for c in range(columns)
            if fits[r][c] and before[r][c] + 1 + after[r + 1][c + 1] == most
        ]
        nowhere = any(before[r][c] + after[r + 1][c] == most for c in range(columns + 1))
        among.append(there)
        certain.append(len(there) == 1 and not nowhere)
    return among, certain


def _without_any_clock(left: Sequence[Log], found: Parted) -> None:
    """Put together what was collected together, box by box in order, where all have as many."""
    sessions: list[list[Log]] = []
    for log in sorted(left, key=lambda log: (log.collected_utc_us, log.digest)):
        if sessions and log.collected_utc_us - sessions[-1][-1].collected_utc_us <= COLLECTING_US:
            sessions[-1].append(log)
        else:
            sessions.append([log])
    for session in sessions:
        by_box: dict[str, list[Log]] = {}
        for log in sorted(session, key=lambda log: (log.boot, log.collected_utc_us, log.run)):
            by_box.setdefault(log.box_id, []).append(log)
        count = max(map(len, by_box.values()))
        first = len(found.classes)
        full = [mine for _, mine in sorted(by_box.items()) if len(mine) == count]
        more: list[Log] = []
        for some in zip(*full, strict=True):
            once, others = _once_at_a_station(some)
            more += others
            if once:
                found.classes.append(once)
        more += [log for mine in by_box.values() if len(mine) < count for log in mine]
        among = list(range(first, len(found.classes)))
        for log in sorted(more, key=lambda log: log.digest):
            found.unsure[len(found.classes)] = list(among)
            found.classes.append([log])
