"""What is said of how logs were filed: doubts, and logs that went to another class."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from itertools import chain
from typing import Any

from sqlalchemy import Connection, Row, and_, func, select

from handbell.base.words import listed
from handbell.store.database.tables import classes, runs, timelines
from handbell.store.logs.journals import LATE
from handbell.store.logs.timelines import slot_ms_of
from handbell_core.timeline import HEADER_SIZE

from .parted import Parted
from .together import START_APART_US, Log, whose

Rows = Mapping[int, Row[Any]]


def sentences(rows: Rows, found: Parted, about: Collection[int]) -> list[str]:
    """Return a sentence for each doubt in how runs were parted, and how to settle it.

    Only where the store has that class as it was parted: no other one may be named. ``about`` are
    the classes whose doubts are wanted, those of others that name one of them among them.
    """
    found = _of_stored(rows, found, about)
    number = [rows[group[0].run].class_id for group in found.classes]
    said = []
    several = _several(found)
    for place, among in found.unsure.items():
        log = found.classes[place][0]
        if place in found.again:
            cut = found.again[place]
            said.append(_again(log, number[place], number[cut], found.classes[cut]))
            continue
        if (log.box_id, log.station) in several:
            continue
        among_ = [number[other] for other in among]
        n, what = number[place], f"A log of box {log.box_id[-4:]} (station {log.station})"
        said.append(
            f"{what} tells no time: it may be of {_of(among_)}. It is class {n} until you say "
            f"which it is: handbell class {n} --join {among_[0] if len(among_) == 1 else 'CLASS'}"
        )
    for (box_id, station), places in several.items():
        n, names = number[places[0]], [f"class {number[place]}" for place in places]
        may = [
            f"{name} may be of {_of([number[p] for p in found.unsure[place]])}"
            for name, place in zip(names, places, strict=True)
        ]
        said.append(
            f"Box {box_id[-4:]} (station {station}) has {len(places)} logs that tell no time, in "
            f"their order {listed(names, 'and')}: {'; '.join(may)}. No class has two of them, so "
            "say it of each, of the first one first, which is most likely of the earliest: "
            f"handbell class {n} --join CLASS"
        )
    for place, among in found.maybe:
        n = number[place]
        some = [number[other] for other in among]
        said.append(
            f"No box tells the time of class {n}, and none of its boxes and stations is in "
            f"{listed((f'class {other}' for other in some), 'or')}: it may be one with that. If it "
            f"is: handbell class {n} --join {some[0] if len(some) == 1 else 'CLASS'}"
        )
    for one, other, station in found.halls:
        a, b = sorted((number[one], number[other]))
        said.append(
            f"Classes {a} and {b} are of one plan and began close together, but two boxes of "
            f"station {station} were pressed at the same time: they are taken for two halls. "
            f"If it was one class: handbell class {b} --join {a}. Of two halls, see by handbell "
            f"class {a} and handbell class {b} that each has its own boxes: where both began at "
            "once only the time of collecting tells"
        )
    for log, place, other in found.either:
        n, box = number[place], log.box_id[-4:]
        said.append(
            f"A log of box {box} (station {log.station}) is in class {n}, but it may be of class "
            f"{number[other]}, which was said to be another and lacks that station. If it is: "
            f"handbell class {n} --apart {box}, then handbell class NUMBER --join {number[other]}, "
            "with the number that the first one prints"
        )
    for log, place in found.rests:
        n, box = number[place], log.box_id[-4:]
        same = [other for other in found.classes[place] if other.box_id == log.box_id]
        said.append(
            f"No box tells the time of class {n}. Box {box} (station {log.station}) "
            f"{_lost_power(same)} and was started again; its later log is taken for the rest of "
            "that class, since the other boxes tell of no other one. If it is of another: "
            f"handbell class {n} --apart {log.digest[:8]}"
        )
    for later, cut in found.restarted:
        n, before = number[later], number[cut]
        said.append(
            f"No box tells the time of classes {before} and {n}, and each that is in both "
            f"{_lost_power(found.classes[cut])} in class {before} and was started again: class "
            f"{n} may be the rest of class {before}. If it is: handbell class {n} --join {before}"
        )
    said_of = {*(place for _, place in found.rests), *chain.from_iterable(found.restarted)}
    for place in found.untold:
        n = number[place]
        if place not in said_of:
            said.append(
                f"No box tells the time of class {n}: its logs were put together by their order in "
                "each box, which is wrong where a box missed a class. See which there are by "
                f"handbell class {n}; if one is of another class: handbell class {n} --apart BOX"
            )
    for place in found.strays:
        n, boxes = number[place], [log.box_id[-4:] for log in found.classes[place]]
        were = "were" if len(boxes) > 1 else "was"
        said.append(
            f"Box {listed(boxes, 'and')} {were} put into a class that was on, and no log here "
            f"tells which: it is class {n} by itself. If it is of another: handbell class {n} "
            "--join CLASS"
        )
    for place, station in found.shared:
        n = number[place]
        said.append(
            f"Class {n} has logs of two boxes of station {station}: they are taken for a box and "
            "its spare. If it was two halls, say which boxes are of the other: "
            f"handbell class {n} --apart BOX BOX"
        )
    return said


def _of(numbers: Sequence[int]) -> str:
    """Say of which classes a log may be."""
    if len(numbers) == 1:
        return f"class {numbers[0]}, or of one that is not in the store"
    return listed((f"class {number}" for number in numbers), "or")


def _several(found: Parted) -> dict[tuple[str, int], list[int]]:
    """Return the places of lone logs of a box of which several may be of one class.

    In the order in which it played them. Not where one may be the rest of another.
    """
    by_box: dict[tuple[str, int], list[int]] = {}
    for place in found.unsure:
        log = found.classes[place][0]
        by_box.setdefault((log.box_id, log.station), []).append(place)
    told = {}
    for box, places in by_box.items():
        logs = [found.classes[place][0] for place in places]
        rest = any(log.cut for log in logs) or any(place in found.again for place in places)
        of = [other for place in places for other in found.unsure[place]]
        rest = rest or any(log.box_id == box[0] for other in of for log in found.classes[other])
        if len(places) > 1 and not rest and len(set(of)) < len(of):
            in_order = {
                place: (g.boot, g.collected_utc_us, g.run)
                for place, g in zip(places, logs, strict=True)
            }
            told[box] = sorted(places, key=in_order.__getitem__)
    return told


def _of_stored(rows: Rows, found: Parted, about: Collection[int]) -> Parted:
    """Return what was parted with those doubts only whose classes are so in the store."""
    of = [{rows[log.run].class_id for log in group} for group in found.classes]
    once = Counter(class_id for one in of for class_id in one)
    so = {place for place, one in enumerate(of) if len(one) == 1 and once[min(one)] == 1}

    def told(*places: int) -> bool:
        wanted = any(not of[place].isdisjoint(about) for place in places)
        return wanted and so.issuperset(places)

    return Parted(
        classes=found.classes,
        unsure={place: among for place, among in found.unsure.items() if told(place, *among)},
        again=found.again,
        halls=[one for one in found.halls if told(*one[:2])],
        shared=[one for one in found.shared if told(one[0])],
        either=[one for one in found.either if told(*one[1:])],
        rests=[one for one in found.rests if told(one[1])],
        restarted=[one for one in found.restarted if told(*one)],
        untold=[place for place in found.untold if told(place)],
        strays=[place for place in found.strays if told(place)],
        maybe=[(place, among) for place, among in found.maybe if told(place, *among)],
    )


def _again(log: Log, now: int, cut: int, there: Collection[Log]) -> str:
    """Say that a box which was cut off in a class was probably started again there."""
    before = [other for other in there if other.box_id == log.box_id and other is not log]
    return (
        f"A log of box {log.box_id[-4:]} (station {log.station}) tells no time. That box "
        f"{_lost_power(before)} in class {cut} and was started again by hand later: this is most "
        f"likely the rest of class {cut}. It is class {now} until you say which it is: "
        f"handbell class {now} --join {cut}"
    )


def _lost_power(some: Collection[Log]) -> str:
    """Return what is known of the ends of a box's logs: one that is damaged tells of no cut."""
    if any(log.end_damaged for log in some):
        return "lost power, or the end of its log is damaged,"
    return "lost power"


def of_another_origin(conn: Connection, class_id: int) -> list[str]:
    """Return a sentence for each class out of a bundle, or beside one, whose missing box it is."""
    c, mine = classes.c, _boxes(conn, class_id)
    one = conn.execute(select(c.plan, c.start_utc_us).where(c.id == class_id)).one()
    if one.start_utc_us is None:
        return []
    since, until = one.start_utc_us - START_APART_US, one.start_utc_us + START_APART_US
    near = and_(c.plan == one.plan, c.id != class_id, c.start_utc_us.between(since, until))
    said = []
    for other in conn.scalars(select(c.id).where(near).order_by(c.id)).all():
        yours = _boxes(conn, other)
        halls = [halls_of(conn, number) for number in (class_id, other)]
        stations = [{station for station, _ in some} for some in (mine, yours)]
        of = [
            found or {who for _, who in some}
            for found, some in zip(halls, (mine, yours), strict=True)
        ]
        if stations[0] & stations[1] or of[0] & of[1]:
            continue
        if all(halls):
            said.append(
                f"Classes {min(class_id, other)} and {max(class_id, other)} are of one plan, began "
                "close together and have no station in common, but computers of two halls sent "
                "them. If it is one hall, say so before the next class: handbell hall --share FILE "
                "on one of them, then handbell hall --join FILE on the other"
            )
        elif not never_one(conn, class_id, other):
            without = any(halls)
            why = "tells no hall" if without else "came in a bundle"
            said.append(
                f"Classes {min(class_id, other)} and {max(class_id, other)} are of one plan, began "
                f"close together and have no station in common, but one of them {why} or was set "
                f"apart. If it was one class: handbell class {class_id} --join {other}"
            )
    return said


def never_one(conn: Connection, one: int, other: int) -> bool:
    """Whether two classes of a plan are never one, whatever a coach says.

    So it is where one was over before all boxes of the other had begun, with two halls, and with
    two that were led by different armings. Those of one are one, whenever each box began.
    """
    r, t = runs.c, timelines.c
    halls = [halls_of(conn, number) for number in (one, other)]
    if all(halls) and not halls[0] & halls[1]:
        return True
    mine, yours = keys_of(conn, one), keys_of(conn, other)
    if mine and yours:
        return not mine & yours
    starts = select(func.max(r.start_utc_us) - func.min(r.start_utc_us))
    began = r.started_by != LATE  # who was put in can't tell what the class waited before
    apart_us = conn.scalar(starts.where(r.class_id.in_([one, other]), began)) or 0
    head = select(func.substr(t.data, 1, HEADER_SIZE)).join(runs, r.timeline == t.digest)
    lengths = conn.scalars(head.where(r.class_id == one).limit(1)).all()
    return any(apart_us >= slot_ms_of(bytes(length)) * 1000 for length in lengths)


def keys_of(conn: Connection, class_id: int) -> set[str]:
    """Return the keys of the armings by which a remote led a class."""
    mine = runs.c.class_id == class_id, runs.c.led_key.is_not(None)
    return set(conn.scalars(select(runs.c.led_key).where(*mine)))


def halls_of(conn: Connection, class_id: int) -> set[str]:
    """Return the hall of a class, in a set; none where no log of it tells one."""
    mine = runs.c.class_id == class_id, runs.c.hall.is_not(None)
    return set(conn.scalars(select(runs.c.hall).where(*mine).distinct()))


def _boxes(conn: Connection, class_id: int) -> set[tuple[int, str]]:
    """Return the stations of a class's runs, and whose each is."""
    r = runs.c
    wanted = select(r.station, r.origin, r.hall).where(r.class_id == class_id)
    return {(row.station, whose(row.hall, row.origin)) for row in conn.execute(wanted)}
