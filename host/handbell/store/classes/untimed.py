"""Where logs without a clock go: into classes with one, or together among themselves.

A box's logs stay in their order, and each is of another class, unless the box was cut off and
started again: then the next log may be the rest of the same one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache

from .together import (
    COLLECTING_US,
    Log,
    came_before,
    collected_together,
    may_be_of,
    start_of,
    started_again,
)

Doubt = tuple[Log, list[int], int | None]  # a log, where it may be, where most likely


@dataclass
class Untimed:
    """Classes in which no log has a clock; places count the ones that were there first.

    ``unsure``, ``rests``, ``restarted`` and ``untold`` as in ``Parted``.
    """

    classes: list[list[Log]] = field(default_factory=list)
    unsure: dict[int, list[int]] = field(default_factory=dict)
    rests: list[tuple[Log, int]] = field(default_factory=list)
    restarted: list[tuple[int, int]] = field(default_factory=list)
    untold: list[int] = field(default_factory=list)


def place_lost(
    lost: Sequence[Log], timed: list[list[Log]], logs: Sequence[Log]
) -> tuple[list[Doubt], list[Log]]:
    """Put logs without a clock into classes; return those in doubt, and those that fit none."""
    by_box: dict[str, list[Log]] = {}
    for log in sorted(lost, key=_in_order):
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
        went_on = [
            [may and _went_on(log, group, of_box) for may, group in zip(row, timed, strict=True)]
            for log, row in zip(mine, able, strict=True)
        ]
        again = [n > 0 and started_again(mine[n - 1], log) for n, log in enumerate(mine)]
        none_again = [[False] * len(timed)] * len(mine), [False] * len(mine)
        ways = zip(_ways(fits, *none_again), _ways(fits, went_on, again), strict=True)
        for n, (whole, rests) in enumerate(ways):
            log, among = mine[n], sorted({*whole[0], *rests[0]})
            certain = whole[1] and rests[1] and len(among) == 1
            cut = [p for p, may in enumerate(went_on[n]) if may]
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
        # What fits nowhere is of a class without any clock; then others may be of that, too.
        open_ = [log for log in some if any(collected_together(log, other) for other in left)]
        once, more = _once_at_a_station([log for log in some if log not in open_])
        timed[place] += once
        more += open_
        unsure += [(log, [place], None) for log in more]
    return unsure, left


def _in_order(log: Log) -> tuple[int, int, int]:
    return log.boot, log.collected_utc_us, log.run


def _went_on(lost: Log, group: Sequence[Log], of_box: Sequence[Log]) -> bool:
    """Whether a box may have been started again, without a clock, in the class that cut it off.

    What it played between was cut off too, and it was not collected since the class was over.
    """
    same = [other for other in group if other.box_id == lost.box_id]
    if not any(may_be_of(lost, other) for other in same):
        return False
    since = min(other.boot for other in same)
    between = [o for o in of_box if o.boot > since and came_before(o, lost)]
    if not all(started_again(other, lost) for other in (*same, *between)):
        return False
    earlier_us = lost.collected_utc_us - COLLECTING_US
    over_us = (start_of(group) or 0) + 2 * lost.slot_us  # the rest began before its end
    return not any(over_us < o.collected_utc_us <= earlier_us for o in of_box)


def _too_early(lost: Log, group: Sequence[Log], timed: Sequence[Sequence[Log]]) -> bool:
    """Whether a class was over before one began that has an earlier log of a log's box."""
    over_us = (start_of(group) or 0) + lost.slot_us
    return any(
        came_before(other, lost)
        for later in timed
        if (start_of(later) or 0) >= over_us
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
    start = start_of(group) or 0
    if earlier and start + group[0].slot_us < max(earlier):
        return False
    return any(may_be_of(lost, other) for other in group)


def _ways(
    fits: Sequence[Sequence[bool]], went_on: Sequence[Sequence[bool]], again: Sequence[bool]
) -> list[tuple[list[int], bool]]:
    """Return, for each of a box's logs, in which classes it is when as many as can be are placed.

    Both are in order of time and stay so. ``went_on`` says of which class a log may be the rest,
    ``again`` whether it may be the rest of what the log before it began. Besides, for each whether
    it is in the same class in every way of doing that, and the rest of none.
    """
    rows, columns = len(fits), len(fits[0]) if fits else 0

    def moves(row: int, last: int, held: bool) -> list[tuple[int | None, bool]]:
        """Return where a log can go, and if as a rest; the one before is in ``last`` if held."""
        there: list[tuple[int | None, bool]] = [(None, False)]
        there += [(c, False) for c in range(last + 1, columns) if fits[row][c]]
        there += [(c, True) for c in range(max(last, 0), columns) if went_on[row][c]]
        if held and again[row] and fits[row][last]:
            there.append((last, True))
        return there

    @cache
    def most(row: int, last: int, held: bool) -> int:
        """Return how many logs can be placed from a row on."""
        if row == rows:
            return 0
        return max(
            (place is not None) + most(row + 1, last if place is None else place, place is not None)
            for place, _ in moves(row, last, held)
        )

    found = []
    states = {(-1, False)}  # before each row, on the ways that place the most
    for row in range(rows):
        there: set[tuple[int | None, bool]] = set()
        after = set()
        for last, held in states:
            best = most(row, last, held)
            for place, rest in moves(row, last, held):
                to = (last if place is None else place), place is not None
                if (place is not None) + most(row + 1, *to) == best:
                    there.add((place, rest))
                    after.add(to)
        states = after
        among = sorted({place for place, _ in there if place is not None})
        found.append((among, len(there) == 1 and there == {(among[-1] if among else -1, False)}))
    return found


def without_any_clock(left: Sequence[Log], fixed: list[list[Log]]) -> Untimed:
    """Put together what was collected together; ``fixed`` are classes that somebody filed.

    The first places are those of ``fixed``, to which logs are added; then come the new classes.
    """
    of = {log.digest: place for place, group in enumerate(fixed) for log in group}
    sessions: list[list[Log]] = []
    both = [*left, *(log for group in fixed for log in group)]
    for log in sorted(both, key=lambda log: (log.collected_utc_us, log.digest)):
        if sessions and log.collected_utc_us - sessions[-1][-1].collected_utc_us <= COLLECTING_US:
            sessions[-1].append(log)
        else:
            sessions.append([log])
    found = Untimed()
    for session in sessions:
        if any(log.digest not in of for log in session):
            _of_session(_box_by_box(session), of, fixed, found)
    return found


def _box_by_box(session: Iterable[Log]) -> Untimed:
    """Put together the logs of one collecting, box by box in order, where all have as many.

    Boxes that were never started again say how many classes there were. One that has more logs
    was started again if it fits then; else it is not known which class its logs are of.
    """
    by_box: dict[str, list[Log]] = {}
    for log in sorted(session, key=_in_order):
        by_box.setdefault(log.box_id, []).append(log)
    chains = {box_id: _chains(mine) for box_id, mine in by_box.items()}
    plain = [len(mine) for box_id, mine in by_box.items() if len(chains[box_id]) == len(mine)]
    count = max(map(len, chains.values()))
    found = Untimed()
    if count not in plain:  # each log may be a class
        count = max(map(len, by_box.values()))
        chains = {box_id: [[log] for log in mine] for box_id, mine in by_box.items()}
    known = [box_id for box_id in by_box if len(chains[box_id]) == count]
    more: list[Log] = []
    for turn in zip(*(chains[box_id] for box_id in sorted(known)), strict=True):
        once, others = _once_at_a_station([chain[0] for chain in turn])
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
    more += [log for box_id, mine in by_box.items() if box_id not in known for log in mine]
    among = list(range(len(found.classes)))
    for log in sorted(more, key=lambda log: log.digest):
        found.unsure[len(found.classes)] = among
        found.classes.append([log])
    return found


def _chains(mine: Iterable[Log]) -> list[list[Log]]:
    """Divide a box's logs: each but the first of a part may be the rest of the one before."""
    found: list[list[Log]] = []
    for log in mine:
        if found and started_again(found[-1][-1], log):
            found[-1].append(log)
        else:
            found.append([log])
    return found


def _of_session(told: Untimed, of: dict[str, int], fixed: list[list[Log]], found: Untimed) -> None:
    """Add the classes of one collecting to all, with what was filed left as it is."""
    places: list[list[int]] = []  # where the logs of each class are
    alone: list[tuple[int, int]] = []  # a single log's place, and that of its class
    for number, group in enumerate(told.classes):
        free = [log for log in group if log.digest not in of]
        there = sorted({of[log.digest] for log in group if log.digest in of})
        sure = number not in told.unsure
        if free and sure and len(there) == 1 and _only_of(fixed[there[0]], number, told):
            fixed[there[0]] += free
            found.untold.append(there[0])
        elif free:
            new = len(fixed) + len(found.classes)
            found.classes.append(free)
            if there and len(free) == 1:
                found.unsure[new] = there
            elif not sure:
                alone.append((new, number))
            if new not in found.unsure and len({log.box_id for log in free}) > 1:
                found.untold.append(new)
            there = [*there, new]
        places.append(there)
    for new, number in alone:
        log = found.classes[new - len(fixed)][0]
        among = sorted({at for other in told.unsure[number] for at in places[other]})
        all_ = [*fixed, *found.classes]
        found.unsure[new] = [at for at in among if _takes(all_[at], log)]
        if not found.unsure[new] and among:
            del found.unsure[new]
    found.rests += [
        (log, places[number][0])
        for log, number in told.rests
        if log.digest not in of and len(places[number]) == 1
    ]
    found.restarted += [
        (places[later][0], places[cut][0])
        for later, cut in told.restarted
        if len(places[later]) == len(places[cut]) == 1
        and not (places[later][0] < len(fixed) and places[cut][0] < len(fixed))
    ]


def _only_of(group: Iterable[Log], number: int, told: Untimed) -> bool:
    """Whether all logs of a group of which the class is known are of one."""
    mine = {log.digest for log in group}
    of = {
        n
        for n, some in enumerate(told.classes)
        if n not in told.unsure and mine & {log.digest for log in some}
    }
    return of == {number}


def _takes(group: Iterable[Log], log: Log) -> bool:
    """Whether a class can have a log of this box, as far as its other logs of it go."""
    same = [o for o in group if (o.box_id, o.station) == (log.box_id, log.station)]
    return all(started_again(other, log) or started_again(log, other) for other in same)
