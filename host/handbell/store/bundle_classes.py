"""Which class of ours each log of a bundle comes to, and where the two tell classes otherwise."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, and_, select, update

from handbell_core import journal as j
from handbell_core.timeline import HEADER_SIZE

from . import journals, tables, timelines
from .filing import filed_as
from .parted import parted
from .together import START_APART_US, Log

Told = Mapping[str, Any]
Mark = tuple[str | None, str | None]  # origin, and as what it is filed


@dataclass(frozen=True)
class _Class:
    """The logs of a class in a bundle, by digest; ``said``: a coach there said that it is one.

    ``told`` is False for a bundle of an earlier version, that tells no classes: then its logs are
    parted by the usual rules, and nothing is said of them that would hold against those.
    """

    digests: list[str]
    boxes: list[str]
    plan: str
    starts_us: list[int]
    told: bool
    said: bool


def marks_of(
    conn: Connection, told: Mapping[str, Any], parts: Mapping[str, bytes]
) -> dict[str, Mark]:
    """Return the origin of each log and as what it is filed.

    A class is ours when we have a log of it, or when all its boxes were seen from here: a second
    computer collected them. Any other class is somebody else's and joins none of ours. What a coach
    there said of a class holds here: it is filed so, and melts with none that was here before.
    """
    found: dict[str, Mark] = {}
    some = list(_classes(told, parts))
    by_word = [one for one in some if one.said]
    r = tables.runs.c
    for one in some:
        known = conn.execute(
            select(r.id, r.digest, r.origin, r.filed, r.class_id)
            .where(r.digest.in_(one.digests))
            .order_by(r.digest)
        ).all()
        ours = bool(known) or all(_seen(conn, box) for box in one.boxes)
        said = one.told and (one.said or (ours and any(_near(one, other) for other in by_word)))
        filed = filed_as("told", one.digests) if said else one.digests[0] if one.told else None
        if not ours:
            mark: Mark = one.digests[0], filed
        elif not said:
            mark = (
                (known[0].origin, known[0].filed if one.told else None) if known else (None, None)
            )
        elif len(known) == len(one.digests):
            mark = known[0].origin, known[0].filed  # nothing is new
        else:
            mark = _as_said(conn, one, known, str(filed))
        found.update(dict.fromkeys(one.digests, mark))
    return found


def _as_said(conn: Connection, one: _Class, known: Collection[Any], filed: str) -> Mark:
    """Return how new logs are filed of a class that a coach said, of which boxes or logs are known.

    They go to the logs of it that are here, if those are a class in which no other log is, or one
    that was said here. Else they are a class of their own. Ours near it stay as they are.
    """
    r = tables.runs.c
    here = {row.class_id for row in known}
    mine: set[int] = set()
    origin = min(known, key=lambda row: str(row.digest)).origin if known else None
    if len(here) == 1:
        (class_id,) = here
        before = next((row.filed for row in known if row.filed is not None), None)
        logs = set(conn.scalars(select(r.digest).where(r.class_id == class_id)))
        if before is not None:
            filed, mine = before, {class_id}
        elif logs <= set(one.digests):
            of = [row.id for row in known]
            conn.execute(update(tables.runs).where(r.id.in_(of)).values(filed=filed))
            mine = {class_id}
    _keep_as_they_are(conn, one, mine, origin)
    return origin, filed


def _keep_as_they_are(
    conn: Connection, one: _Class, but: Collection[int], origin: str | None
) -> None:
    """File ours that began near another class as they are, so that it doesn't melt with them."""
    c, r = tables.classes.c, tables.runs.c
    if not one.starts_us:
        return
    since, until = min(one.starts_us) - START_APART_US, max(one.starts_us) + START_APART_US
    near = and_(c.plan == one.plan, c.start_utc_us.between(since, until), c.id.not_in(but))
    for class_id in conn.scalars(select(c.id).where(near).order_by(c.id)).all():
        logs = conn.execute(select(r.digest, r.filed, r.origin).where(r.class_id == class_id)).all()
        if any(row.filed is None and row.origin == origin for row in logs):
            filed = filed_as("kept", (row.digest for row in logs))
            conn.execute(update(tables.runs).where(r.class_id == class_id).values(filed=filed))


def _near(one: _Class, other: _Class) -> bool:
    """Whether two classes are of one plan and began so near that the rules might melt them."""
    return one.plan == other.plan and any(
        abs(a - b) <= START_APART_US for a in one.starts_us for b in other.starts_us
    )


def _classes(told: Mapping[str, Any], parts: Mapping[str, bytes]) -> Iterator[_Class]:
    plan = {one["digest"]: one["plan"] for one in told["timelines"]}
    by_class: dict[str, list[Told]] = {}
    by_plan: dict[str, list[Told]] = {}
    for one in told["runs"]:
        if one["class"]:
            by_class.setdefault(one["class"], []).append(one)
        else:
            by_plan.setdefault(plan[one["timeline"]], []).append(one)

    def made(some: Iterable[Told], logs: Iterable[Log], known: bool) -> _Class:
        some = list(some)
        return _Class(
            digests=sorted(one["digest"] for one in some),
            boxes=sorted({one["box_id"][:32] for one in some}),
            plan=plan[some[0]["timeline"]],
            starts_us=[log.start_utc_us for log in logs if log.start_utc_us is not None],
            told=known,
            said=any(one["filed"] for one in some),
        )

    by_word = any(one["filed"] for one in told["runs"])  # else it does not matter when they began
    for some in by_class.values():
        logs = [_log(parts, n, one) for n, one in enumerate(some)] if by_word else []
        yield made(some, logs, True)
    for some in by_plan.values():
        logs = [_log(parts, n, one) for n, one in enumerate(some)]
        for group in parted(logs).classes:
            yield made([some[log.run] for log in group], group, False)


def _log(parts: Mapping[str, bytes], number: int, one: Told) -> Log:
    """Return the facts of a log that is not in the store yet."""
    timeline = parts[f"timelines/{one['timeline']}"]
    played = journals.Played(one["timeline"], timelines.decode(timeline).station)
    found = journals.read(parts[f"logs/{one['digest']}"], played)
    pressed_ms = (class_ms for kind, _, _, class_ms, _ in found.records if kind == j.TAP)
    return Log(
        run=number,
        digest=one["digest"],
        box_id=str(one["box_id"])[:32],
        station=found.station,
        start_utc_us=found.start_utc_us,
        slot_us=timelines.slot_ms_of(timeline[:HEADER_SIZE]) * 1000,
        collected_utc_us=one["collected_utc_us"],
        whole=found.state == "whole" and not found.stopped,
        pressed_ms=tuple(pressed_ms),
        boot=found.boot or 0,
    )


def _seen(conn: Connection, box_id: str) -> bool:
    """Whether a box was ever plugged in where this store is used."""
    return any(
        conn.execute(select(table.c.box_id).where(table.c.box_id == box_id).limit(1)).first()
        for table in (tables.boxes, tables.contacts)
    )


def otherwise(conn: Connection, told: Iterable[Told]) -> list[str]:
    """Return a sentence for each class that is another one in the bundle, and how to follow it.

    None where a coach here said what is of a class, and none there did.
    """
    of = {one["digest"]: one["class"] for one in told if one["class"]}
    said_there = {of[one["digest"]] for one in told if one["class"] and one["filed"]}
    r = tables.runs.c
    wanted = select(r.digest, r.box_id, r.station, r.class_id, r.filed)
    wanted = wanted.where(r.digest.in_(of), r.class_id.is_not(None)).order_by(r.station, r.id)
    here: dict[int, dict[str, list[Any]]] = {}
    there: dict[str, set[int]] = {}
    for row in conn.execute(wanted):
        if row.filed not in (None, *of) and of[row.digest] not in said_there:
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
    for some in there.values():
        first, *rest = sorted(some)
        said += [
            f"The bundle has classes {first} and {other} as one. To have it so here: handbell "
            f"class {other} --join {first}"
            for other in rest
        ]
    return list(dict.fromkeys(said))


def beside(conn: Connection, new: Collection[int], logs: Collection[str]) -> list[str]:
    """Return a sentence for each class of new runs that a coach there said, and one near it here.

    Where they have no station in common they may be one: of that neither coach said anything.
    """
    c, r = tables.classes.c, tables.runs.c
    said: dict[str, None] = {}
    rows = select(r.class_id, r.origin, c.plan, c.start_utc_us).join(
        tables.classes, c.id == r.class_id
    )
    of = rows.where(r.id.in_(list(new)), r.filed.is_not(None), c.start_utc_us.is_not(None))
    for one in conn.execute(of.distinct().order_by(r.class_id)).all():
        since, until = one.start_utc_us - START_APART_US, one.start_utc_us + START_APART_US
        near = select(c.id).where(c.plan == one.plan, c.start_utc_us.between(since, until))
        mine = conn.execute(select(r.station).where(r.class_id == one.class_id)).scalars().all()
        for other in conn.scalars(near.where(c.id != one.class_id).order_by(c.id)).all():
            there = select(r.station, r.digest, r.origin).where(r.class_id == other)
            yours = conn.execute(there).all()
            if any(b.origin != one.origin or b.digest in logs or b.station in mine for b in yours):
                continue
            said[
                f"Class {one.class_id} is filed as the bundle says, and class {other} stays as it "
                "was. They began close together and have no station in common. If it was one "
                f"class: handbell class {one.class_id} --join {other}"
            ] = None
    return list(said)
