"""Classes by hand: logs without a clock that were collected together, box by box in order."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from .lost import at_one_time, may_be
from .together import COLLECTING_US, Log, started_again

Groups = list[list[Log]]


@dataclass
class Untimed:
    """Classes with logs without a clock; places count those that were there first, too.

    ``unsure``, ``again``, ``rests``, ``restarted``, ``untold`` and ``maybe`` as in ``Parted``.
    """

    classes: Groups = field(default_factory=list)
    unsure: dict[int, list[int]] = field(default_factory=dict)
    again: dict[int, int] = field(default_factory=dict)
    rests: list[tuple[Log, int]] = field(default_factory=list)
    restarted: list[tuple[int, int]] = field(default_factory=list)
    untold: list[int] = field(default_factory=list)
    maybe: list[tuple[int, list[int]]] = field(default_factory=list)


def _in_order(log: Log) -> tuple[int, int, int]:
    return log.boot, log.collected_utc_us, log.run


def in_boxes(some: Iterable[Log]) -> dict[str, list[Log]]:
    """Return logs by box, each box's in their order."""
    found: dict[str, list[Log]] = {}
    for log in sorted(some, key=lambda log: (log.box_id, _in_order(log))):
        found.setdefault(log.box_id, []).append(log)
    return found


def boxes_of(group: Iterable[Log]) -> set[str]:
    """Return the boxes that have a log in a group."""
    return {log.box_id for log in group}


def once_at_a_station(some: Sequence[Log]) -> tuple[list[Log], list[Log]]:
    """Divide logs into those that can be of one class, and whole ones of the same station."""
    whole: dict[int, int] = {}
    for log in some:
        whole[log.station] = whole.get(log.station, 0) + log.whole
    once = [log for log in some if whole[log.station] <= 1]
    return once, [log for log in some if whole[log.station] > 1]


def by_sessions(left: Sequence[Log], timed: Groups, fixed: Groups, found: Untimed) -> list[Log]:
    """Put together what was collected together; return what is of no class for certain."""
    of = {log.digest: place for place, group in enumerate(fixed, len(timed)) for log in group}
    sessions: Groups = []
    both = [*left, *(log for group in fixed for log in group)]
    for log in sorted(both, key=lambda log: (log.given_us, log.digest)):
        if sessions and log.given_us - sessions[-1][-1].given_us <= COLLECTING_US:
            sessions[-1].append(log)
        else:
            sessions.append([log])
    parts = [part for session in sessions for part in _hanging_together(session)]
    alone: list[Log] = []
    for part in parts:
        if any(log.digest not in of for log in part):
            odd = _odd_boxes(part, parts, timed)
            alone += [log for log in part if log.box_id in odd and log.digest not in of]
            for some in _hanging_together([log for log in part if log.box_id not in odd]):
                told, more = _with_late_ones(some)
                alone += [log for log in more if log.digest not in of]
                _of_session(told, of, found)
    return alone


def _hanging_together(session: Sequence[Log]) -> Groups:
    """Divide logs that were collected together by when they can have been played."""
    found: Groups = []
    for log in session:
        near_ = [g for g in found if any(at_one_time([log], [other]) for other in g)]
        found = [g for g in found if g not in near_]
        found.append([*(other for g in near_ for other in g), log])
    return found


def _odd_boxes(part: Sequence[Log], parts: Groups, timed: Groups) -> set[str]:
    """Return the boxes that may have been left behind with a log of another class.

    That is of one of which not all the others may be, too. Boxes that gave logs at both times
    played the later ones since. So later ones make no box odd; by earlier ones the fewer are odd,
    these boxes or those that may be left behind.
    """
    boxes = boxes_of(part)
    odd: set[str] = set()
    for group in timed:
        may = boxes_of(log for log in part if log.filed is None and may_be(log, group))
        if may | (boxes & boxes_of(group)) != boxes:
            odd |= may
    for some in parts:
        if some is not part:
            may = boxes_of(log for log in part if log.filed is None and _may_reach(log, some))
            both = boxes & boxes_of(some)
            if may | both != boxes:
                odd |= may
            elif may and both and _given(some) < _given(part):
                odd |= min(may, both, key=len)
    return odd


def _given(some: Iterable[Log]) -> int:
    return min(log.given_us for log in some)


def _may_reach(log: Log, some: Sequence[Log]) -> bool:
    """Whether a log may be of a class of boxes that were collected at another time."""
    if log.box_id in boxes_of(some):
        return False
    return any(o.station != log.station and at_one_time([log], [o]) for o in some)


def _with_late_ones(some: Sequence[Log]) -> tuple[Untimed, list[Log]]:
    """Put together as ``_box_by_box``, without what a link left behind if that would part others.

    With it other boxes may be those that have as many logs as most.
    """
    told, more = _box_by_box(some)
    early = [log for log in some if not log.late]
    if not early or len(early) == len(some):
        return told, more
    before, left = _box_by_box(early)
    if {box for group in before.classes for box in boxes_of(group)} <= {
        box for group in told.classes for box in boxes_of(group)
    }:
        return told, more
    return before, left + [log for log in some if log.late]


def _box_by_box(session: Sequence[Log]) -> tuple[Untimed, list[Log]]:
    """Put together the logs of one collecting, box by box in order, where all have as many.

    Most boxes say how many classes there were. One that has more logs was started again if it fits
    then; else it is not known which class its logs are of, and they are returned.
    """
    by_box = in_boxes(session)
    chains = {box_id: _chains(mine) for box_id, mine in by_box.items()}
    plain = [len(mine) for box_id, mine in by_box.items() if len(chains[box_id]) == len(mine)]
    count = _usual(map(len, chains.values()))
    found = Untimed()
    if count not in plain:  # each log may be a class
        chains = {box_id: [[log] for log in mine] for box_id, mine in by_box.items()}
        count = _usual(map(len, chains.values()))
    known = [box_id for box_id in by_box if len(chains[box_id]) == count]
    more: list[Log] = []
    for turn in zip(*(chains[box_id] for box_id in sorted(known)), strict=True):
        once, others = once_at_a_station([chain[0] for chain in turn])
        if len(once) > 1 and any(not at_one_time([log], once) for log in once):
            once, others = [], [*once, *others]
        more += others
        if once:
            rests = [log for chain in turn if chain[0] in once for log in chain[1:]]
            found.rests += [(log, len(found.classes)) for log in rests]
            found.classes.append([*once, *rests])
        more += [log for chain in turn if chain[0] not in once for log in chain[1:]]
    for place in range(1, len(found.classes)):
        before, now = found.classes[place - 1 : place + 1]
        same = [(a, b) for a in before for b in now if a.box_id == b.box_id]
        if same and all(started_again(a, b) for a, b in same):
            found.restarted.append((place, place - 1))
    return found, more + [log for box, mine in by_box.items() if box not in known for log in mine]


def _usual(counts: Iterable[int]) -> int:
    """Return how many logs most boxes have; where as many boxes have more, that."""
    return max(Counter(counts).items(), key=lambda one: (one[1], one[0]))[0]


def _chains(mine: Iterable[Log]) -> list[list[Log]]:
    """Divide a box's logs: each but the first of a part may be the rest of the one before."""
    found: list[list[Log]] = []
    for log in mine:
        if found and started_again(found[-1][-1], log):
            found[-1].append(log)
        else:
            found.append([log])
    return found


def _of_session(told: Untimed, of: dict[str, int], found: Untimed) -> None:
    """Add the classes of one collecting to all, with what was filed left as it is."""
    places: list[list[int]] = []  # where the logs of each class are
    for number, group in enumerate(told.classes):
        free = [log for log in group if log.digest not in of]
        there = sorted({of[log.digest] for log in group if log.digest in of})
        if free and len(there) == 1 and _only_of(found.classes[there[0]], number, told):
            found.classes[there[0]] += free
            found.untold.append(there[0])
        elif free:
            new = len(found.classes)
            found.classes.append(free)
            if there and len(free) == 1:
                found.unsure[new] = there
            elif len({log.box_id for log in free}) > 1:
                found.untold.append(new)
            there = [*there, new]
        places.append(there)
    found.rests += [
        (log, places[number][0])
        for log, number in told.rests
        if log.digest not in of and len(places[number]) == 1
    ]
    filed = set(of.values())
    found.restarted += [
        (places[later][0], places[cut][0])
        for later, cut in told.restarted
        if len(places[later]) == len(places[cut]) == 1
        and not (places[later][0] in filed and places[cut][0] in filed)
    ]


def _only_of(group: Iterable[Log], number: int, told: Untimed) -> bool:
    """Whether all logs of a group of which the class is known are of one."""
    mine = {log.digest for log in group}
    of = {n for n, some in enumerate(told.classes) if mine & {log.digest for log in some}}
    return of == {number}
