"""What is said after an import: where a bundle and the store tell classes otherwise."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, select

from handbell.store.classes.doubts import never_one
from handbell.store.classes.together import START_APART_US
from handbell.store.database import tables

from .dates import Redated

Told = Mapping[str, Any]


def otherwise(conn: Connection, told: Iterable[Told], dated: Mapping[int, Redated]) -> list[str]:
    """Return a sentence for each class that is another one in the bundle, and how to follow it.

    None where a coach here said what is of a class, and none there did. ``dated`` are those that
    are dated otherwise there: they can't be joined before that is settled.
    """
    of = {one["digest"]: one["class"] for one in told if one["class"]}
    said_there = {of[one["digest"]] for one in told if one["class"] and one["filed"]}
    r = tables.runs.c
    wanted = select(r.digest, r.box_id, r.station, r.class_id, r.filed, r.kept)
    wanted = wanted.where(r.digest.in_(of), r.class_id.is_not(None)).order_by(r.station, r.id)
    here: dict[int, dict[str, list[Any]]] = {}
    there: dict[str, set[int]] = {}
    for row in conn.execute(wanted):
        said_here = row.filed is not None and not row.kept
        if said_here and of[row.digest] not in said_there:
            continue
        here.setdefault(row.class_id, {}).setdefault(of[row.digest], []).append(row)
        there.setdefault(of[row.digest], set()).add(row.class_id)
    said = []
    for class_id, by_class in sorted(here.items()):
        most = max(by_class, key=lambda name: (len(by_class[name]), name))
        for name, rows in sorted(by_class.items()):
            if name != most:
                ends = " ".join(row.digest[:8] for row in rows)
                boxes = ", ".join(f"{row.box_id[-4:]} (station {row.station})" for row in rows)
                said.append(
                    f"Of class {class_id} the bundle has box {boxes} as another class. To have it "
                    f"so here: handbell class {class_id} --apart {ends}, then import it again"
                )
    for name, some in there.items():
        first, *rest = sorted(some)
        theirs = [digest for digest in of if of[digest] == name]
        for other in rest:
            off = [number for number in (first, other) if number in dated]
            if off:
                if all(dated[number].followed for number in off):
                    said.append(_date_first(first, other, off))
                continue
            both = [
                (mine, _twice(conn, mine, yours, theirs))
                for mine, yours in ((first, other), (other, first))
            ]
            stations = sorted({row.station for _, rows in both for row in rows})
            if stations and name not in said_there:
                continue  # by the rules, which see more logs here than there
            steps = [
                f"handbell class {mine} --apart {' '.join(row.digest[:8] for row in rows)}"
                for mine, rows in both
                if rows
            ]
            may = "if they are two still, " if steps else ""  # the rules may join them
            steps.append(f"{may}handbell class {other} --join {first}")
            why = "; here each has a log of station " + ", ".join(map(str, stations))
            said.append(
                f"The bundle has classes {first} and {other} as one{why if stations else ''}. "
                f"To have it so here: {', then '.join(steps)}"
            )
    return list(dict.fromkeys(said))


def _date_first(first: int, other: int, off: Sequence[int]) -> str:
    which = f"class {off[0]}" if len(off) == 1 else "both"
    return (
        f"The bundle has classes {first} and {other} as one. Date {which} first as it is there, "
        "then import it again"
    )


def _twice(conn: Connection, mine: int, other: int, theirs: Collection[str]) -> Sequence[Any]:
    """Return the logs of a class that must go before another joins it, as both are one there.

    They are not of that class of the bundle, and of a station that its own log there has.
    """
    r = tables.runs.c
    stations = select(r.station).where(r.class_id == other, r.digest.in_(theirs))
    twice = select(r.digest, r.station).where(
        r.class_id == mine, r.digest.not_in(theirs), r.station.in_(stations)
    )
    return conn.execute(twice.order_by(r.station, r.id)).all()


def beside(
    conn: Connection, new: Collection[int], logs: Collection[str], told: Collection[Told]
) -> list[str]:
    """Return a sentence for each class of new runs that a coach there said, and one near it here.

    Where they have no station in common they may be one: of that neither coach said anything.
    """
    c, r = tables.classes.c, tables.runs.c
    said_there = {one["class"] for one in told if one["class"] and one["filed"]}
    by_word = [one["digest"] for one in told if one["class"] in said_there]
    said: dict[str, None] = {}
    rows = select(r.class_id, r.origin, c.plan, c.start_utc_us).join(
        tables.classes, c.id == r.class_id
    )
    of = rows.where(
        r.id.in_(list(new)),
        r.digest.in_(by_word),
        r.filed.is_not(None),
        c.start_utc_us.is_not(None),
    )
    for one in conn.execute(of.distinct().order_by(r.class_id)).all():
        since, until = one.start_utc_us - START_APART_US, one.start_utc_us + START_APART_US
        near = select(c.id).where(c.plan == one.plan, c.start_utc_us.between(since, until))
        mine = conn.execute(select(r.station).where(r.class_id == one.class_id)).scalars().all()
        for other in conn.scalars(near.where(c.id != one.class_id).order_by(c.id)).all():
            there = select(r.station, r.digest, r.origin).where(r.class_id == other)
            yours = conn.execute(there).all()
            if any(b.origin != one.origin or b.digest in logs or b.station in mine for b in yours):
                continue
            if never_one(conn, one.class_id, other):
                continue
            said[
                f"Class {one.class_id} is filed as the bundle says, and class {other} stays as it "
                "was. They began close together and have no station in common. If it was one "
                f"class: handbell class {one.class_id} --join {other}"
            ] = None
    return list(said)


def joined_by_rule(
    conn: Connection, new: Collection[int], logs: Collection[str], told: Iterable[Told]
) -> list[str]:
    """Return a sentence for new logs that came to a class of which a coach said which logs it has.

    The bundle has them as a class, of which no log was here, and may not have that one: then it
    can't tell that it is another. ``logs`` are all that are in the bundle.
    """
    r = tables.runs.c
    fresh = set(conn.scalars(select(r.digest).where(r.id.in_(list(new)))))
    known = {one["class"] for one in told if one["digest"] not in fresh or one["filed"]}
    alone = [one["digest"] for one in told if one["class"] and one["class"] not in known]
    mine = select(r.id, r.digest, r.box_id, r.station, r.class_id)
    mine = mine.where(r.id.in_(list(new)), r.digest.in_(alone), r.filed.is_(None))
    came: dict[int, list[Any]] = {}
    for row in conn.execute(mine.order_by(r.station, r.id)):
        came.setdefault(row.class_id, []).append(row)
    said = []
    for class_id, rows in sorted(came.items()):
        others = select(r.digest).where(r.class_id == class_id, r.filed.is_not(None), ~r.kept)
        if class_id is None or set(conn.scalars(others)) <= set(logs):
            continue
        boxes = ", ".join(f"{row.box_id[-4:]} (station {row.station})" for row in rows)
        said.append(
            f"Box {boxes} came to class {class_id} by the rules, of which a coach said before "
            "which logs it has; the bundle does not tell whether they are one. If they are two: "
            f"handbell class {class_id} --apart {' '.join(row.digest[:8] for row in rows)}"
        )
    return said
