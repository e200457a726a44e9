"""Which logs of a plan are one class: one playing of it, by all the boxes that took part.

The answer depends on the logs alone, never on the order in which they came in.

Logs of two halls never are, whatever else they have in common: those of each hall are looked at by
themselves, and so are those that tell none, by where they came from (``Log.whose``). What a coach
filed with logs of a hall is of that.

Logs that a remote led tell by which arming: those of one are one class, whenever each began, and
those of two never are.

A box that a host put into a class goes to those that it met there, never by its start (``put_in``).

Logs with a clock: those whose starts are nearest go together first, as long as all of a class lie
within 20 minutes and less than the plan's own length. Of those that began at once a box goes first
to the boxes that lack its station. A box takes part in a class once at a station. Two boxes of one
station are two halls when their presses mix as those of two people do who don't know of each other
(``mixed``). A spare takes turns with the box whose place it takes: then it is one class. Two boxes
of a station in one class are always said.

Logs without a clock: ``lost`` tells of which classes each may be, with and without a clock. A box's
logs, in their order, go to these, if there is only one way to place as many as possible, and no
other class can be meant. Else a log is a class of its own and it is said which classes it may be
of. A box that was cut off in a class and has a log of a later start may have been started again
there: then that class is among them, and the most likely one where no later class lacks the box.
Where no box had a clock its rest goes to the class that cut it off if the other boxes tell of no
other, and that is said.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

from .lost import at_one_time
from .put_in import apart_by, in_turn, put_in
from .together import (
    Log,
    Pair,
    clashing_pairs,
    filed,
    fixed,
    led_apart,
    said,
    start_apart,
    start_of,
    starts_near,
    timed_groups,
)
from .untimed import place_lost


@dataclass
class Parted:
    """Logs by class; the doubts are places in ``classes``.

    ``unsure`` has, for a class that is one log without a clock, the classes it may be of, the
    likeliest first; ``again`` the one in which its box was cut off before, where no later one may
    be it.
    ``halls`` are pairs kept apart only since both were pressed at the same station and time.
    ``shared`` are classes in which two boxes of a station are, which nobody said. ``either`` are
    logs that came to one of two classes that a coach parted, and may be of the other as well.
    ``rests`` are logs without a clock that were put to the class that cut their box off;
    ``restarted`` are classes without a clock that may be the rest of the other. ``untold`` are
    classes without any clock that were put together by the order of each box's logs alone;
    ``maybe`` are those that may be one with another class as a whole. ``strays`` are classes of
    boxes that a host put into one that was on, of which no other log is there.
    """

    classes: list[list[Log]] = field(default_factory=list)
    unsure: dict[int, list[int]] = field(default_factory=dict)
    again: dict[int, int] = field(default_factory=dict)
    halls: list[tuple[int, int, int]] = field(default_factory=list)  # and the station
    shared: list[tuple[int, int]] = field(default_factory=list)  # and the station
    either: list[tuple[Log, int, int]] = field(default_factory=list)  # and the other
    rests: list[tuple[Log, int]] = field(default_factory=list)
    restarted: list[tuple[int, int]] = field(default_factory=list)
    untold: list[int] = field(default_factory=list)
    maybe: list[tuple[int, list[int]]] = field(default_factory=list)  # and the others
    strays: list[int] = field(default_factory=list)


def parted(logs: Iterable[Log]) -> Parted:
    """Return which logs are one class."""
    by_whose: dict[str, list[Log]] = {}
    in_order = sorted(logs, key=lambda log: log.digest)
    of = {log.digest: log for log in _bound(in_order)}
    late = [log for log in in_order if log.put_in and log.filed is None]
    for log in in_order:
        if log not in late:
            mine = of[log.digest]
            by_whose.setdefault(mine.whose, []).append(mine)
    found = Parted()
    apart = apart_by(late, in_order)
    for some in by_whose.values():
        _part(some, found, apart)
    for log in in_turn(late):
        put_in(log, found.classes)
    found.strays = [
        place
        for place, group in enumerate(found.classes)
        if all(log.put_in for log in group) and not filed(group)
    ]
    for place, group in enumerate(found.classes):
        found.shared += [(place, station) for station in sorted(_shared(group))]
    return found


def _bound(logs: Sequence[Log]) -> list[Log]:
    """Return logs with the hall and the origin that each is taken to be of.

    Those of one arming are one class, wherever each was collected; what somebody filed together
    goes along. No log that tells its hall is taken for another's.
    """
    of = {log.digest: log.origin or "" for log in logs}
    hall = {log.digest: log.hall for log in logs}
    together: dict[tuple[str, ...], list[str]] = {}
    for log in logs:
        if log.key is not None:
            together.setdefault((log.key,), []).append(log.digest)
        if log.filed is not None:
            together.setdefault((log.origin or "", log.filed), []).append(log.digest)
    changed = True
    while changed:  # a part may reach another by a third
        changed = False
        for some in together.values():
            least = min(of[digest] for digest in some)
            for digest in some:
                changed |= of[digest] != least
                of[digest] = least
            halls = {hall[digest] for digest in some}
            if len(halls) == 2 and None in halls:
                changed = True
                hall |= dict.fromkeys(some, max(filter(None, halls)))
    return [replace(g, origin=of[g.digest] or None, hall=hall[g.digest]) for g in logs]


def touch(one: Log, other: Log) -> bool:
    """Whether the place of one log may depend on the other."""
    if one.key is not None and one.key == other.key:
        return True
    if one.filed is not None and one.filed == other.filed:
        return True
    if one.whose != other.whose:
        return False
    if one.digest in other.met or other.digest in one.met:
        return True
    if one.start_utc_us is not None and other.start_utc_us is not None:
        return starts_near(one, other)  # of a short plan a whole day would hang together otherwise
    return at_one_time([one], [other])


def _part(logs: Sequence[Log], found: Parted, apart: set[Pair]) -> None:
    """Part the logs of one hall, or of one origin; pairs that are ``apart`` are never one class."""
    clashing = clashing_pairs(logs)
    groups = timed_groups(logs, clashing | apart)
    timed = [group for group in groups if start_of(group) is not None]
    timed.sort(key=lambda group: (start_of(group) or 0, group[0].digest))
    known = [group for group in groups if start_of(group) is None and fixed(group)]
    lost = [g[0] for g in groups if start_of(g) is None and not fixed(g)]
    first = len(found.classes)
    placed = place_lost(lost, timed, known, logs)
    found.classes += placed.classes
    found.unsure |= {
        first + place: [first + other for other in among] for place, among in placed.unsure.items()
    }
    found.again |= {first + place: first + cut for place, cut in placed.again.items()}
    found.rests += [(log, first + place) for log, place in placed.rests]
    found.restarted += [(first + later, first + cut) for later, cut in placed.restarted]
    found.untold += sorted({first + place for place in placed.untold})
    found.maybe += [(first + place, [first + p for p in some]) for place, some in placed.maybe]
    for (m, one), (n, other) in combinations(enumerate(timed, first), 2):
        station = _halls(one, other, clashing)
        if station is not None:
            found.halls.append((m, n, station))
        found.either += [(log, m, n) for log in _as_near(one, other, clashing)]
        found.either += [(log, n, m) for log in _as_near(other, one, clashing)]


def _shared(group: Iterable[Log]) -> set[int]:
    """Return the stations at which two boxes of a class were, which neither key nor coach says.

    A clean change to a spare is among them: a box of another hall that was pressed seldom, or lost
    power early, looks like one.
    """
    return {
        one.station
        for one, other in combinations(group, 2)
        if one.station == other.station
        and one.box_id != other.box_id
        and not _said_both(one, other)
        and not (one.key is not None and one.key == other.key)
    }


def _said_both(one: Log, other: Log) -> bool:
    """Whether a coach said that two logs are of one class."""
    return one.filed == other.filed and said([one]) and said([other])


def _halls(one: Sequence[Log], other: Sequence[Log], clashing: set[Pair]) -> int | None:
    """Return the station by which two classes were told apart, None if it was not by that."""
    pairs = [(a, b) for a in one for b in other]
    if not all(starts_near(a, b) for a, b in pairs):
        return None
    if (said(one) and said(other)) or led_apart(one, other):
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
        if not fixed([log]) and may and near is not None and near == start_apart(log, others):
            found.append(log)
    return found
