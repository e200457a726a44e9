"""What is said of how logs were filed: doubts, and logs that went to another class."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from itertools import chain
from typing import Any

from sqlalchemy import Connection, Row, and_, func, select

from handbell.store.database.tables import classes, runs, timelines, wearers
from handbell.store.logs.timelines import slot_ms_of
from handbell_core.timeline import HEADER_SIZE

from .parted import Parted
from .together import COLLECTING_US, START_APART_US, Log

Rows = Mapping[int, Row[Any]]


def sentences(rows: Rows, found: Parted) -> list[str]:
    """Return a sentence for each doubt in how runs were parted, and how to settle it.

    Only where the store has that class as it was parted: no other one may be named.
    """
    found = _of_stored(rows, found)
    number = [rows[group[0].run].class_id for group in found.classes]
    said = []
    for place, among in found.unsure.items():
        log = found.classes[place][0]
        if place in found.again:
            cut = found.again[place]
            said.append(_again(log, number[place], number[cut], found.classes[cut]))
            continue
        may = " or ".join(f"class {n}" for n in sorted({number[other] for other in among}))
        said.append(
            f"A log of box {log.box_id[-4:]} (station {log.station}) tells no time: it may be of "
            f"{may or 'another class'}. It is class {number[place]} until you say which it is: "
            f"handbell class {number[place]} --join CLASS"
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
    for place, station in found.shared:
        n = number[place]
        said.append(
            f"Class {n} has logs of two boxes of station {station}: they are taken for a box and "
            "its spare. If it was two halls, say which boxes are of the other: "
            f"handbell class {n} --apart BOX BOX"
        )
    return said


def _of_stored(rows: Rows, found: Parted) -> Parted:
    """Return what was parted with those doubts only whose classes are so in the store."""
    of = [{rows[log.run].class_id for log in group} for group in found.classes]
    once = Counter(class_id for one in of for class_id in one)
    so = {place for place, one in enumerate(of) if len(one) == 1 and once[min(one)] == 1}
    return Parted(
        classes=found.classes,
        unsure={
            place: among for place, among in found.unsure.items() if so.issuperset([place, *among])
        },
        again=found.again,
        halls=[one for one in found.halls if so.issuperset(one[:2])],
        shared=[one for one in found.shared if one[0] in so],
        either=[one for one in found.either if so.issuperset(one[1:])],
        rests=[one for one in found.rests if one[1] in so],
        restarted=[one for one in found.restarted if so.issuperset(one)],
        untold=[place for place in found.untold if place in so],
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
        if over_by_then(conn, class_id, other):
            continue
        yours = _boxes(conn, other)
        stations = [{station for station, _ in some} for some in (mine, yours)]
        origins = [{origin for _, origin in some} for some in (mine, yours)]
        if not stations[0] & stations[1] and not origins[0] & origins[1]:
            said.append(
                f"Classes {min(class_id, other)} and {max(class_id, other)} are of one plan, began "
                "close together and have no station in common, but one of them came in a bundle or "
                "was set apart. If it was one class: "
                f"handbell class {class_id} --join {other}"
            )
    return said


def over_by_then(conn: Connection, one: int, other: int) -> bool:
    """Whether one of two classes of a plan was over before all boxes of the other had begun.

    Such two are never one class, whatever a coach says.
    """
    r, t = runs.c, timelines.c
    starts = select(func.max(r.start_utc_us) - func.min(r.start_utc_us))
    apart_us = conn.scalar(starts.where(r.class_id.in_([one, other]))) or 0
    head = select(func.substr(t.data, 1, HEADER_SIZE)).join(runs, r.timeline == t.digest)
    lengths = conn.scalars(head.where(r.class_id == one).limit(1)).all()
    return any(apart_us >= slot_ms_of(bytes(length)) * 1000 for length in lengths)


def _boxes(conn: Connection, class_id: int) -> set[tuple[int, str | None]]:
    """Return the stations and origins of a class's runs."""
    r = runs.c
    wanted = select(r.station, r.origin).where(r.class_id == class_id)
    return {(row.station, row.origin) for row in conn.execute(wanted)}


def moves(conn: Connection, rows: Rows, now: Mapping[int, int]) -> list[str]:
    """Return a sentence for logs that went to another class after a coach may have seen the first.

    That is after names were said of it, or in a later collecting. ``rows`` are the runs as they
    were, ``now`` the class each is in; names have not gone along yet.
    """
    was = {run: row.class_id for run, row in rows.items()}
    moved = {run for run, class_id in now.items() if was[run] not in (None, class_id)}
    if not moved:
        return []
    w = wearers.c
    of = {was[run] for run in moved}
    named = set(conn.scalars(select(w.class_id).where(w.class_id.in_(of)).distinct()))
    latest_us = max(row.collected_utc_us for row in rows.values())
    return _went(
        conn,
        was,
        [
            run
            for run in moved
            if was[run] in named or latest_us - rows[run].collected_utc_us > COLLECTING_US
        ],
    )


@contextmanager
def moves_told(
    conn: Connection, of: Collection[str], said: list[str] | None, but: Collection[int] = ()
) -> Iterator[None]:
    """Add a sentence for runs of some plans that are in another class when the work is done.

    What only went there and back in between is not told. ``but`` are runs of which the coach says
    where they go.
    """
    before = _places(conn, of)
    yield
    now = _places(conn, of)
    moved = [run for run, class_id in before.items() if now.get(run, class_id) != class_id]
    if said is not None:
        said += _went(conn, {**dict.fromkeys(now), **before}, set(moved) - set(but))


def _places(conn: Connection, of: Collection[str]) -> dict[int, int]:
    """Return the class of each run of some plans."""
    wanted = select(runs.c.id, runs.c.class_id).join(classes, classes.c.id == runs.c.class_id)
    return {row.id: row.class_id for row in conn.execute(wanted.where(classes.c.plan.in_(of)))}


def _went(conn: Connection, was: Mapping[int, int | None], some: Collection[int]) -> list[str]:
    """Return a sentence for runs that went to other classes, with commands that undo it."""
    r = runs.c
    facts = select(r.id, r.digest, r.box_id, r.station, r.class_id)
    facts = facts.order_by(r.station, r.box_id, r.id)
    went: dict[tuple[int, int], list[Any]] = {}
    for row in conn.execute(facts.where(r.id.in_(some))):
        went.setdefault((was[row.id] or 0, row.class_id), []).append(row)
    said = []
    for (old, new), logs in sorted(went.items()):
        there = conn.execute(facts.where(r.class_id == new)).all()
        left = conn.execute(facts.where(r.class_id == old)).all()
        boxes = ", ".join(f"{row.box_id[-4:]} (station {row.station})" for row in logs)
        what = f"A log of box {boxes} that was" if len(logs) == 1 else f"Logs of {boxes} that were"
        is_ = "is" if len(logs) == 1 else "are"
        back = _way_back(old, new, logs, there, left, was)
        said.append(
            f"{what} in class {old} {is_} in class {new} now, by the rules"
            + (f". If that is wrong: {back}" if back else "")
        )
    return said


def _way_back(
    old: int,
    new: int,
    logs: Sequence[Any],
    there: Sequence[Any],
    left: Sequence[Any],
    was: Mapping[int, int | None],
) -> str:
    """Return the commands that bring logs back to the class where they were, "" if none do.

    ``there`` are all logs of the class they are in now, ``left`` those of the one where they were.
    """
    steps, number = [], str(new)
    if len(there) > len(logs):
        boxes = Counter(row.box_id[-4:] for row in there)
        ends = [row.box_id[-4:] if boxes[row.box_id[-4:]] == 1 else row.digest[:8] for row in logs]
        steps.append(f"handbell class {new} --apart {' '.join(ends)}")
        number = "NUMBER"
    if any(was.get(row.id, old) == old for row in left):  # it is the same class still
        places = {(row.box_id, row.station) for row in logs}
        twice = [row.digest[:8] for row in left if (row.box_id, row.station) in places]
        if len(twice) < len(left):
            if twice:
                steps.append(f"handbell class {old} --apart {' '.join(twice)}")
            alone = number == str(new)
            may = "if that did not bring it back, " if steps else ""  # the rules may
            steps.append(f"{may}handbell class {number} --join {old}")
            if not alone:
                steps[-1] += ", with the number that the first one prints"
    return ", then ".join(steps)
