"""Which logs with a clock were one class: the nearest starts together, and halls told apart."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import log1p

from .mixed import mixed

MINUTE_US = 60_000_000
START_APART_US = 20 * MINUTE_US
SAME_START_US = 2_000_000
COLLECTING_US = 30 * MINUTE_US
LATELY_US = 12 * 60 * MINUTE_US
NEARER_LEAST = 3  # so many times nearer to each other than to other boxes a hall's are collected
FAR_US = 1 << 60

Pair = tuple[str, str]


@dataclass(frozen=True)
class Log:
    """The facts of a run that say which class it is of; ``start_utc_us`` None: clock lost.

    ``pressed_ms`` is when it was pressed, since its start. ``cut``: it has no end, or one by a cut;
    with ``end_damaged`` it may have had one.
    ``boot`` puts a box's logs without a clock in order, then ``run``, the order in which the box
    gave them. Logs of different ``hall`` are never one class, nor, where it is not known, those of
    different ``origin``; those with the same ``filed`` always are, as a coach said or, with
    ``kept``, an import did. One without a clock began between
    ``since_us`` and ``until_us`` and was there to be collected at ``had_us``, as ``played`` tells.
    ``meets`` are the logs, by digest, that were where a host put its box into a class that was on,
    each with by how many ms it was elsewhere, or went on at another time.
    """

    run: int
    digest: str
    box_id: str
    station: int
    start_utc_us: int | None
    slot_us: int
    collected_utc_us: int
    whole: bool = True
    pressed_ms: tuple[int, ...] = ()
    boot: int = 0
    origin: str | None = None
    filed: str | None = None
    kept: bool = False
    cut: bool = False
    end_damaged: bool = False
    meets: tuple[tuple[str, int], ...] = ()
    since_us: int = 0
    until_us: int = FAR_US
    had_us: int = FAR_US
    key: str | None = None  # of the arming by which a remote led it
    hall: str | None = None
    put_in: bool = False  # by a host, where no remote led it

    @property
    def met(self) -> set[str]:
        """The digests of those that it ``meets``."""
        return {digest for digest, _ in self.meets}

    @property
    def whose(self) -> str:
        """Its hall, else its origin: logs of which this differs go into no class together."""
        return whose(self.hall, self.origin)

    @property
    def given_us(self) -> int:
        """When it was collected, or would have been if the link had not broken off before it."""
        return min(self.had_us, self.collected_utc_us)

    @property
    def late(self) -> bool:
        """Whether it came long after its box had it at a collecting."""
        return self.collected_utc_us - self.given_us > COLLECTING_US


def whose(hall: str | None, origin: str | None) -> str:
    """Return whose a log is: its hall's, else that of where it came from; "": ours."""
    return hall or origin or ""


def timed_groups(logs: Sequence[Log], clashing: set[Pair]) -> list[list[Log]]:
    """Put the logs that have a clock together, the nearest starts first; the others stay alone.

    Where starts are equally near, those go together first that have no station in common: a box is
    no spare while a class lacks it. Only collecting tells then which boxes were in one hall.
    """
    groups: dict[str, list[Log]] = {}
    of: dict[str, list[Log]] = {}
    led = filed_of_keys(logs)
    for log in logs:
        group = groups.setdefault(log.filed or led.get(log.key) or log.digest, [])
        group.append(log)
        of[log.digest] = group
    timed = [log for log in logs if log.start_utc_us is not None]
    pairs: dict[int, list[tuple[tuple[int, int], Log, Log]]] = {}
    timed.sort(key=lambda log: (log.start_utc_us or 0, log.digest))
    for place, one in enumerate(timed):
        for other in timed[place + 1 :]:
            apart_us = start_apart(one, [other])
            if apart_us is None or apart_us > START_APART_US:
                break
            near = pairs.setdefault(apart_us, [])
            near.append((_collecting(one, other), one, other))
    for apart_us, near in sorted(pairs.items()):
        near.sort(key=lambda pair: (pair[0], pair[1].digest, pair[2].digest))
        for spares in (False, True):
            if spares and apart_us == 0 and not of_one_hall(logs):
                _divide(of)
                _exchange(of)
            for _, one, other in near:
                mine, yours = of[one.digest], of[other.digest]
                if mine is yours or not (spares or _no_station_twice(mine, yours)):
                    continue
                if _may_be_one(mine, yours, clashing):
                    mine += yours
                    of.update((log.digest, mine) for log in yours)
    return list({id(group): group for group in of.values()}.values())


def filed_of_keys(logs: Iterable[Log]) -> dict[str | None, str]:
    """Return as what the logs of each key are filed of which nobody said it.

    They are one class. Where a coach parted it, that is the part that most of them are in.
    """
    said_: dict[str, Counter[str]] = {}
    for log in logs:
        if log.key is not None:
            said_.setdefault(log.key, Counter())[log.filed or ""] += 1
    found: dict[str | None, str] = {}
    for key, some in said_.items():
        some.pop("", None)
        most = max(some, key=lambda filed_as: (some[filed_as], filed_as), default=None)
        found[key] = most or f"key {key}"
    return found


def led_apart(some: Iterable[Log], others: Iterable[Log]) -> bool:
    """Whether two groups were led by different armings, so that they are never one class."""
    mine = {log.key for log in some} - {None}
    yours = {log.key for log in others} - {None}
    return bool(mine and yours) and not mine & yours


def of_one_hall(logs: Iterable[Log]) -> bool:
    """Whether logs that may be one class are known to be of one hall, so that none are told apart.

    ``parted`` looks at those of each hall by themselves.
    """
    return all(log.hall is not None for log in logs)


def fixed(group: Iterable[Log]) -> bool:
    """Whether it is known what is of a group: somebody said it, or their key does."""
    return any(log.filed is not None or log.key is not None for log in group)


def _divide(of: dict[str, list[Log]]) -> None:
    """Give the boxes of a group to others that lack them, if all can go: it was one hall too many.

    One that was collected much more closely together than with the others is a hall, though boxes
    of it and of theirs are missing. Of groups that began at once and have no station twice.
    """
    able = _able(of)
    for group in sorted(able, key=lambda some: (len(some), min(log.digest for log in some))):
        others = [o for o in able if o and o is not group and _began_at_once([*group, *o])]
        goes: list[tuple[Log, list[Log]]] = []
        for log in group:
            there = {id(o): [*o, *(one for one, to in goes if to is o)] for o in others}
            lack = [o for o in others if all(b.station != log.station for b in there[id(o)])]
            if not lack:
                break
            near = [_nearest(log, o) for o in lack]
            if _nearest(log, group) * NEARER_LEAST < min(near):
                break
            goes.append((log, lack[near.index(min(near))]))
        if len(goes) == len(group):
            group.clear()
            for log, to in goes:
                to.append(log)
                of[log.digest] = to


def _exchange(of: dict[str, list[Log]]) -> None:
    """Exchange boxes of a station where each group is then collected more closely together.

    Of groups that began at once and have no station twice.
    """
    again = True
    while again:  # what is apart in the groups becomes less each time, so it ends
        again = False
        for mine, yours in combinations(_able(of), 2):
            if not _began_at_once([*mine, *yours]):
                continue
            for m, a in enumerate(mine):
                n = next((n for n, b in enumerate(yours) if b.station == a.station), None)
                if n is None:
                    continue
                b = yours[n]
                now = _spread(mine, m, a) + _spread(yours, n, b)
                if _spread(mine, m, b) + _spread(yours, n, a) < now:
                    mine[m], yours[n] = b, a
                    of[a.digest], of[b.digest] = yours, mine
                    again = True


def _able(of: Mapping[str, list[Log]]) -> list[list[Log]]:
    """Return the groups that are by rule alone and have no station twice."""
    groups = list({id(group): group for group in of.values()}.values())
    return [g for g in groups if len({log.station for log in g}) == len(g) and not fixed(g)]


def _spread(group: Sequence[Log], place: int, log: Log) -> int:
    """Return how far from the others of a group a log is collected in a place there, in all."""
    others = (*group[:place], *group[place + 1 :])
    return sum(_apart(log, other) for other in others)


def _nearest(log: Log, group: Iterable[Log]) -> int:
    """Return how far from the nearest other log of a group one was collected; alone, far away."""
    others = (other for other in group if other is not log)
    at = log.collected_utc_us
    return min((abs(at - other.collected_utc_us) for other in others), default=FAR_US)


def _apart(one: Log, other: Log) -> int:
    """Return how far apart two logs were collected, so that many doublings count, not seconds.

    A box that is collected long after is far from every hall: which one is a little less far
    must not outweigh that the others of each hall were collected together.
    """
    apart_s = abs(one.collected_utc_us - other.collected_utc_us) / 1e6
    return round(1e6 * log1p(apart_s))  # whole, so that exchanging ends


def _began_at_once(some: Iterable[Log]) -> bool:
    starts = [log.start_utc_us for log in some]
    known = [start for start in starts if start is not None]
    return len(known) == len(starts) and max(known) - min(known) <= SAME_START_US


def filed(group: Iterable[Log]) -> bool:
    """Whether a coach, or an import, said what is of a group."""
    return any(log.filed is not None for log in group)


def said(group: Iterable[Log]) -> bool:
    """Whether a coach said what is of a group."""
    return any(log.filed is not None and not log.kept for log in group)


def _collecting(one: Log, other: Log) -> tuple[int, int]:
    """Return how far apart two logs were collected, and when the first of them was."""
    at = one.collected_utc_us, other.collected_utc_us
    return max(at) - min(at), min(at)


def _no_station_twice(some: Iterable[Log], others: Iterable[Log]) -> bool:
    return not {log.station for log in some} & {log.station for log in others}


def _may_be_one(some: Sequence[Log], others: Sequence[Log], clashing: set[Pair]) -> bool:
    if led_apart(some, others) or (filed(some) and filed(others) and not _only_kept(some, others)):
        return False
    pairs = [(a, b) for a in _first_ones(some) for b in _first_ones(others)]
    return all(starts_near(a, b) and (a.digest, b.digest) not in clashing for a, b in pairs)


def _only_kept(some: Sequence[Log], others: Sequence[Log]) -> bool:
    """Whether two groups were filed by imports alone, of what one hall's computers collected."""
    return of_one_hall([*some, *others]) and not said(some) and not said(others)


def _first_ones(group: Sequence[Log]) -> list[Log]:
    """Return a group without boxes that were put in, by a remote or a host, after waits."""
    first = min(group, key=lambda log: (log.start_utc_us is None, log.start_utc_us or 0))
    return [
        log for log in group if not (log.put_in or log.key is not None) or starts_near(first, log)
    ]


def starts_near(one: Log, other: Log) -> bool:
    """Whether two logs began near enough for one class; without a clock they may have."""
    if one.start_utc_us is None or other.start_utc_us is None:
        return True
    most = max(SAME_START_US, min(START_APART_US, one.slot_us - 1, other.slot_us - 1))
    return abs(one.start_utc_us - other.start_utc_us) <= most


def start_apart(log: Log, others: Iterable[Log]) -> int | None:
    """Return how far from the nearest of others a log began, in us; 0: at once, None: not known."""
    mine = log.start_utc_us
    starts = [other.start_utc_us for other in others]
    if mine is None:
        return None
    nearest = min((abs(mine - start) for start in starts if start is not None), default=None)
    return 0 if nearest is not None and nearest <= SAME_START_US else nearest


def started_again(one: Log, other: Log) -> bool:
    """Whether a box may have played on in a later log, by hand, after it was cut off in one."""
    same = one.box_id == other.box_id and one.station == other.station
    return same and one.cut and one.boot < other.boot


def came_before(one: Log, other: Log) -> bool:
    """Whether a box surely began one log before the other; of one boot its order tells it."""
    if one.box_id != other.box_id or one is other:
        return False
    if one.boot != other.boot or one.start_utc_us is not None or other.start_utc_us is not None:
        return 0 < one.boot < other.boot
    return (one.collected_utc_us, one.run) < (other.collected_utc_us, other.run)


def in_one_boot(lost: Log, other: Log) -> bool:
    """Whether a log without a clock was before one with it: of one boot the box gave it first."""
    first = (lost.collected_utc_us, lost.run) < (other.collected_utc_us, other.run)
    return 0 < lost.boot == other.boot and other.start_utc_us is not None and first


def may_be_of(lost: Log, timed: Log) -> bool:
    """Whether a log without a clock was collected soon enough after one with a clock began."""
    start = timed.start_utc_us
    if start is None or start > lost.given_us:
        return False
    return start >= lost.given_us - LATELY_US or collected_together(lost, timed)


def collected_together(one: Log, other: Log) -> bool:
    """Whether two logs were collected within half an hour."""
    return abs(one.given_us - other.given_us) <= COLLECTING_US


def start_of(group: Iterable[Log]) -> int | None:
    """Return when the first of a group began, None where none has a clock."""
    return min((g.start_utc_us for g in group if g.start_utc_us is not None), default=None)


def clashing_pairs(logs: Iterable[Log]) -> set[Pair]:
    """Return the pairs, by digest, that can't be of one class: one box twice, or two halls.

    Of those that began near each other; others are not one anyway.
    """
    logs = list(logs)
    known = of_one_hall(logs)
    found: set[Pair] = set()
    by_station: dict[int, list[Log]] = {}
    for log in sorted(logs, key=lambda log: (log.start_utc_us or 0, log.digest)):
        by_station.setdefault(log.station, []).append(log)
    for some in by_station.values():
        for place, one in enumerate(some):
            for other in some[place + 1 :]:
                if not starts_near(one, other):
                    break  # those that follow are further away; without a clock come first
                if one.box_id == other.box_id or (not known and _mixed(one, other)):
                    found |= {(one.digest, other.digest), (other.digest, one.digest)}
    return found


def _mixed(one: Log, other: Log) -> bool:
    return mixed(_pressed_us(one), _pressed_us(other))


def _pressed_us(log: Log) -> list[int]:
    """Return the UTC of each press; none without a clock."""
    start = log.start_utc_us
    return [] if start is None else [start + at_ms * 1000 for at_ms in log.pressed_ms]
