"""Which class of ours each log of a bundle comes to."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from sqlalchemy import Connection, and_, select, update

from handbell.store.classes.filing import filed_as
from handbell.store.classes.parted import parted
from handbell.store.classes.together import START_APART_US, Log
from handbell.store.database import tables
from handbell.store.logs import dating, journals, timelines
from handbell_core import journal as j
from handbell_core.timeline import HEADER_SIZE

Told = Mapping[str, Any]


class Mark(NamedTuple):
    """A log's origin, as what it is filed, and whether no coach but the import says so."""

    origin: str | None
    filed: str | None
    kept: bool


BY_RULE = Mark(None, None, False)


@dataclass(frozen=True)
class _Class:
    """The logs of a class in a bundle, by digest; ``said``: a coach there said that it is one.

    ``lost`` are those without a clock, where it matters when they began. ``keys`` are those of the
    armings by which a remote led it.
    ``told`` is False for a bundle of an earlier version, that tells no classes: then its logs are
    parted by the usual rules, and nothing is said of them that would hold against those.
    """

    digests: list[str]
    boxes: list[str]
    plan: str
    starts_us: list[int]
    lost: frozenset[str]
    told: bool
    said: bool
    stations: Mapping[str, int]
    keys: frozenset[str]
    hall: str | None  # where all its logs tell one


def marks_of(
    conn: Connection, told: Mapping[str, Any], parts: Mapping[str, bytes]
) -> dict[str, Mark]:
    """Return the origin of each log and as what it is filed.

    A class is ours when we have a log of it or of its arming, or when all its boxes were seen from
    here: a second computer collected them. Any other class is somebody else's and joins none of
    ours, unless it tells a hall: then its logs fall into classes of that hall by the rules, or
    stay together where one has no clock. What a coach there said of a class holds here: it is filed
    so, and melts with none that was here before.
    """
    found: dict[str, Mark] = {}
    some = list(_classes(told, parts))
    by_word = [one for one in some if one.said]
    r = tables.runs.c
    for one in some:
        known = conn.execute(
            select(r.id, r.digest, r.origin, r.filed, r.kept, r.class_id, r.start_utc_us)
            .where(r.digest.in_(one.digests))
            .order_by(r.digest)
        ).all()
        led = conn.execute(select(r.digest, r.origin).where(r.led_key.in_(one.keys))).all()
        seen = bool(known or led) or all(_seen(conn, box) for box in one.boxes)
        ours = seen or one.hall is not None
        said = one.told and (one.said or (ours and any(_near(one, other) for other in by_word)))
        filed = filed_as("told", one.digests) if said else one.digests[0] if one.told else None
        if not ours:
            mark = Mark(one.digests[0], filed, kept=filed is not None and not one.said)
        elif not seen and one.lost and not said:
            mark = Mark(None, filed, kept=filed is not None)
        elif not said or (not one.said and any(map(_said_here, known))):
            mark = _as_known(one, known) if known else BY_RULE._replace(origin=_origin(led))
        elif len(known) == len(one.digests):
            mark = Mark(known[0].origin, known[0].filed, known[0].kept)  # nothing is new
        else:
            mark = _as_said(conn, one, known, str(filed))
        found.update(dict.fromkeys(one.digests, mark))
        if ours and said and not one.said:
            found.update(dict.fromkeys(one.lost, mark._replace(filed=None, kept=False)))
        found.update(_once_at_a_station(conn, one, known, mark))
    return found


def _as_known(one: _Class, known: Collection[Any]) -> Mark:
    """Return how new logs are filed of a class of which no coach there said anything.

    They go where the logs of it that are here went as that class. Where a coach here said what is
    of those, the new ones fall into classes by the rules: nobody said of which half they are.
    """
    filings = {row.filed for row in known} - {None}
    if one.told and len({row.class_id for row in known}) == 1 and len(filings) == 1:
        (filed,) = filings
        if filed in one.digests:  # as it came from there before, and not by a coach's word
            return Mark(_origin(known), filed, kept=True)
    return Mark(_origin(known), None, kept=False)


def _said_here(row: Any) -> bool:
    """Whether a coach here said which class a log is of."""
    return row.filed is not None and not row.kept


def _origin(known: Collection[Any]) -> str | None:
    """Return the origin that most of some logs have, None if there are none."""
    counted = Counter(row.origin for row in sorted(known, key=lambda row: str(row.digest)))
    return counted.most_common(1)[0][0] if counted else None


def _once_at_a_station(
    conn: Connection, one: _Class, known: Collection[Any], mark: Mark
) -> dict[str, Mark]:
    """Return how those new logs are filed whose station another log has in the class here.

    Neither coach said that both are of it, so they are a class of their own.
    """
    filed = mark.filed
    here = {row.class_id for row in known if row.filed == filed}
    if filed is None or len(known) == len(one.digests) or not here:
        return {}
    r = tables.runs.c
    there = select(r.station).where(r.class_id.in_(here), r.digest.not_in(one.digests))
    taken = set(conn.scalars(there))
    twice = [log for log in one.digests if one.stations[log] in taken]
    twice = [log for log in twice if log not in {row.digest for row in known}]
    return dict.fromkeys(twice, Mark(mark.origin, filed_as("told", twice), kept=True))


def _as_said(conn: Connection, one: _Class, known: Collection[Any], filed: str) -> Mark:
    """Return how new logs are filed of a class that a coach said, of which boxes or logs are known.

    They go to the logs of it that are here, if those are a class in which no other log is, or one
    that was said here. Else they are a class of their own. Ours near it stay as they are.
    """
    r = tables.runs.c
    here = {row.class_id for row in known}
    mine: set[int] = set()
    origin = _origin(known)
    if len(here) == 1:
        (class_id,) = here
        follow = (row.filed for row in known if _said_here(row) or row.filed in one.digests)
        before = next(follow, None)
        logs = set(conn.scalars(select(r.digest).where(r.class_id == class_id)))
        if before is not None:
            filed, mine = before, {class_id}
        elif logs <= set(one.digests):
            of = [row.id for row in known if one.said or row.start_utc_us is not None]
            now = {"filed": filed, "kept": not one.said}
            conn.execute(update(tables.runs).where(r.id.in_(of)).values(now))
            mine = {class_id}
    _keep_as_they_are(conn, one, mine, origin)
    return Mark(origin, filed, kept=not one.said)


def _keep_as_they_are(
    conn: Connection, one: _Class, but: Collection[int], origin: str | None
) -> None:
    """File ours that began near another class as they are, so that it doesn't melt with them.

    Those without a clock are of a class by the rules alone, and may turn out to be of another.
    """
    c, r = tables.classes.c, tables.runs.c
    if not one.starts_us:
        return
    since, until = min(one.starts_us) - START_APART_US, max(one.starts_us) + START_APART_US
    near = and_(c.plan == one.plan, c.start_utc_us.between(since, until), c.id.not_in(but))
    same = r.hall.is_not_distinct_from(one.hall)
    for class_id in conn.scalars(select(c.id).where(near).order_by(c.id)).all():
        facts = select(r.id, r.digest, r.filed, r.origin, r.start_utc_us)
        logs = conn.execute(facts.where(r.class_id == class_id, same)).all()
        free = [row for row in logs if row.filed is None and row.start_utc_us is not None]
        if any(row.origin == origin for row in free):
            before = next((row.filed for row in logs if row.filed is not None), None)
            now = {"filed": before or filed_as("kept", (row.digest for row in free)), "kept": True}
            conn.execute(update(tables.runs).where(r.id.in_([f.id for f in free])).values(now))


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

    def made(some: Iterable[Told], logs: Collection[Log], known: bool) -> _Class:
        some = list(some)
        return _Class(
            digests=sorted(one["digest"] for one in some),
            boxes=sorted({one["box_id"][:32] for one in some}),
            plan=plan[some[0]["timeline"]],
            starts_us=[log.start_utc_us for log in logs if log.start_utc_us is not None],
            lost=frozenset(log.digest for log in logs if log.start_utc_us is None),
            told=known,
            said=any(one["filed"] for one in some),
            stations={one["digest"]: station[one["timeline"]] for one in some},
            keys=frozenset(filter(None, (_key(parts, one) for one in some))),
            hall=_hall(hall[one["timeline"]] for one in some),
        )

    station: dict[str, int] = {}
    hall: dict[str, str | None] = {}
    for one in told["timelines"]:
        found = timelines.decode(parts[f"timelines/{one['digest']}"])
        station[one["digest"]], hall[one["digest"]] = found.station, found.hall
    when = any(one["filed"] for one in told["runs"])  # else it does not matter when they began
    when = when or any(hall.values())
    for some in by_class.values():
        logs = [_log(parts, n, one) for n, one in enumerate(some)] if when else []
        yield made(some, logs, True)
    for some in by_plan.values():
        logs = [_log(parts, n, one) for n, one in enumerate(some)]
        for group in parted(logs).classes:
            yield made([some[log.run] for log in group], group, False)


def _hall(told: Iterable[str | None]) -> str | None:
    """Return the hall that all tell; None where one tells none, or they tell several."""
    halls = set(told)
    return next(iter(halls)) if len(halls) == 1 else None


def _key(parts: Mapping[str, bytes], one: Told) -> str | None:
    """Return by which arming a remote led a log; most were led by none and need not be read."""
    log = parts[f"logs/{one['digest']}"]
    if not journals.may_be_led(log):
        return None
    return journals.read(log, journals.Played(one["timeline"], 0)).led_key


def _log(parts: Mapping[str, bytes], number: int, one: Told) -> Log:
    """Return the facts of a log that is not in the store yet."""
    timeline = parts[f"timelines/{one['timeline']}"]
    played = journals.Played(one["timeline"], timelines.decode(timeline).station)
    log = parts[f"logs/{one['digest']}"]
    found = journals.read(log, played)
    dated = dating.kept(one)
    pressed_ms = (class_ms for kind, _, _, class_ms, _ in found.records if kind == j.TAP)
    return Log(
        run=number,
        digest=one["digest"],
        box_id=str(one["box_id"])[:32],
        station=found.station,
        start_utc_us=dated.utc_us if dated else found.start_utc_us,
        slot_us=timelines.slot_ms_of(timeline[:HEADER_SIZE]) * 1000,
        collected_utc_us=one["collected_utc_us"],
        whole=found.state == "whole" and not found.stopped,
        pressed_ms=tuple(pressed_ms),
        cut=journals.ends_by_cut(log),
        boot=found.boot or 0,
        key=found.led_key,
        hall=timelines.hall_of(timeline),
    )


def _seen(conn: Connection, box_id: str) -> bool:
    """Whether a box was ever plugged in where this store is used."""
    return any(
        conn.execute(select(table.c.box_id).where(table.c.box_id == box_id).limit(1)).first()
        for table in (tables.boxes, tables.contacts)
    )
