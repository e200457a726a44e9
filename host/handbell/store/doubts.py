"""What is said of how logs were filed: doubts, and logs that went to another class."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, Row, and_, select

from .parted import COLLECTING_US, Parted
from .tables import classes, runs, wearers
from .together import START_APART_US

Rows = Mapping[int, Row[Any]]


def sentences(rows: Rows, found: Parted) -> list[str]:
    """Return a sentence for each doubt in how runs were parted, and how to settle it."""
    number = [rows[group[0].run].class_id for group in found.classes]
    said = []
    for place, among in found.unsure.items():
        log = found.classes[place][0]
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
    for place, station in found.shared:
        n = number[place]
        said.append(
            f"Class {n} has logs of two boxes of station {station}: they are taken for a box and "
            "its spare. If it was two halls, say which boxes are of the other: "
            f"handbell class {n} --apart BOX BOX"
        )
    return said


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


def _boxes(conn: Connection, class_id: int) -> set[tuple[int, str | None]]:
    """Return the stations and origins of a class's runs."""
    r = runs.c
    wanted = select(r.station, r.origin).where(r.class_id == class_id)
    return {(row.station, row.origin) for row in conn.execute(wanted)}


def moves(conn: Connection, rows: Rows, moved: Mapping[int, int]) -> list[str]:
    """Return a sentence for logs that go to another class after a coach may have seen the first.

    That is after names were said of it, in a later collecting, or when no log comes in at all.
    """
    before = {run: rows[run].class_id for run in moved if rows[run].class_id is not None}
    if not before:
        return []
    w, r = wearers.c, runs.c
    of = set(before.values())
    named = set(conn.scalars(select(w.class_id).where(w.class_id.in_(of)).distinct()))
    stay = select(r.class_id).where(r.class_id.in_(of), r.id.not_in(moved)).distinct()
    stays = set(conn.scalars(stay))
    comes_in = any(row.class_id is None for row in rows.values())
    latest_us = max(row.collected_utc_us for row in rows.values())
    went: dict[tuple[int, int], list[Row[Any]]] = {}
    for run, class_id in before.items():
        later = latest_us - rows[run].collected_utc_us > COLLECTING_US
        if class_id in named or later or not comes_in:
            went.setdefault((class_id, moved[run]), []).append(rows[run])
    said = []
    for (old, new), some in sorted(went.items()):
        some.sort(key=lambda row: (row.station, row.box_id))
        boxes = ", ".join(f"{row.box_id[-4:]} (station {row.station})" for row in some)
        apart = f"handbell class {new} --apart {' '.join(row.box_id[-4:] for row in some)}"
        what = f"A log of box {boxes} that was" if len(some) == 1 else f"Logs of {boxes} that were"
        back = (
            f", then handbell class NUMBER --join {old}, with the number that the first one prints"
        )
        said.append(
            f"{what} in class {old} {'is' if len(some) == 1 else 'are'} in class {new} now, by the "
            f"rules. If that is wrong: {apart}{back if old in stays else ''}"
        )
    return said
