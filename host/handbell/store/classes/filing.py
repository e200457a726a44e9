"""What a coach says of classes: these two are one, these boxes played another, this one goes."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Any, NamedTuple

from sqlalchemy import Connection, Row, Select, and_, delete, select, update

from handbell.base.digest import short_hex
from handbell.base.errors import StoreError, UsageError
from handbell.base.words import listed
from handbell.store.database import tables
from handbell.store.database.database import Database
from handbell.store.halls.known import hall_words
from handbell.store.logs import dating, journals
from handbell.store.people.worn import names_differ
from handbell.store.results.sayings import APART, DATE, DELETE, JOIN, taken_down
from handbell.store.results.settle import alike, settle

from . import gathering, joining
from .doubts import halls_of, keys_of
from .lost import at_one_time, spell_of
from .moves import moves_told
from .played import boots_of
from .together import MINUTE_US, Log, came_before

# In the order in which rows may go; each has a column ``run``.
OF_RUN = (
    tables.taps,
    tables.results,
    tables.sums,
    tables.ratings,
    tables.notes,
    tables.amendments,
)
LOG_LEAST = 8  # signs of a digest, as the command lists it
_R = tables.runs.c
_FACTS: Select[Any] = select(
    *(_R.id, _R.digest, _R.box_id, _R.station, _R.origin, _R.state, _R.start_utc_us, _R.led_key),
    _R.started_by,
)


def join_classes(
    store: Database,
    class_id: int,
    into: int,
    moved: list[str] | None = None,
    at_utc_us: int = 0,
) -> int:
    """Say that two classes are one, and return the number it has.

    It goes on under the number of the fuller one; ``at_utc_us`` is when it is said. To ``moved`` a
    sentence is added for each other log that goes to another class by that. Raises UsageError when
    they can't be one, StoreError when there is none of a number.
    """

    def work(conn: Connection) -> int:
        mine, yours = runs_of(store, conn, class_id), runs_of(store, conn, into)
        plans = select(tables.classes.c.plan).where(tables.classes.c.id.in_([class_id, into]))
        if class_id == into or len(set(conn.scalars(plans))) > 1:
            raise UsageError(
                f"Classes {class_id} and {into} are not two classes of one plan",
                "handbell report --list shows the classes there are",
            )
        halls = {number: halls_of(conn, number) for number in (class_id, into)}
        if all(halls.values()) and not halls[class_id] & halls[into]:
            raise UsageError(
                f"Class {class_id} is of {_called(conn, halls[class_id])} and class {into} of "
                f"{_called(conn, halls[into])}, so they are two",
                "Leave them as they are",
            )
        led = {number: keys_of(conn, number) for number in (class_id, into)}
        if led[class_id] and led[into] and not led[class_id] & led[into]:
            raise UsageError(
                f"A remote was armed once for class {min(led)} and once more for class {max(led)}, "
                "so they are two",
                "Leave them as they are",
            )
        both = {(r.box_id, r.station) for r in mine} & {(r.box_id, r.station) for r in yours}
        if led[class_id] & led[into]:
            both = set()  # one arming, so one class, whenever each box was in it
        slot_us = gathering.slot_us_of(conn, mine[0].id)
        twice = [
            place
            for place in sorted(both)
            if not one_after_the_other(
                parts_of(conn, [r for r in (*mine, *yours) if (r.box_id, r.station) == place]),
                slot_us,
            )
        ]
        if twice:
            box_id, station = twice[0]
            raise UsageError(
                f"Box {box_id} played station {station} in class {class_id} and in class {into}, "
                "so they are two",
                "Leave them as they are",
            )
        if not led[class_id] & led[into]:
            _check_starts(conn, {class_id: mine, into: yours})
            _check_times(conn, {class_id: mine, into: yours}, slot_us)
        differ = names_differ(conn, class_id, into)
        if differ:
            bib, one, other = differ[0]
            raise UsageError(
                f"Bib {bib} is {one} in class {class_id} and {other} in class {into}, "
                "and one of the two would be lost",
                f"Say the same in both, then join them: handbell bibs {class_id} {bib}=NAME",
            )
        some = [row.id for row in (*yours, *mine)]
        with taken_down(conn, JOIN, class_id, at_utc_us), moves_told(conn, moved, some):
            return put_together(conn, some, moved)

    return store.doing(work)


def set_apart(
    store: Database,
    class_id: int,
    boxes: Collection[str],
    moved: list[str] | None = None,
    at_utc_us: int = 0,
) -> int:
    """Say that some boxes' logs are of another class, and return the number it gets.

    To ``moved`` a sentence is added for each other log that goes to another class by that.

    A box is named by its id, its end, or its station; a single log by how its digest begins. One
    that is alone and tells no time stays in its class, and is in doubt no more. Raises UsageError
    when else nothing is left.
    """

    def work(conn: Connection) -> int:
        mine = runs_of(store, conn, class_id)
        chosen = {word: [r for r in mine if _is(r, word)] for word in boxes}
        for word, some in chosen.items():
            if not some:
                there = ", ".join(f"{r.box_id[-4:]} (station {r.station})" for r in mine)
                raise UsageError(
                    f"No box or log {word[:32]} is in class {class_id}", f"Its boxes are {there}"
                )
        going = {r.id: r for some in chosen.values() for r in some}
        alone = len(mine) == 1 and mine[0].start_utc_us is None
        if len(going) == len(mine) and not alone:
            raise UsageError(
                f"All logs of class {class_id} would go, and it would be the same class",
                "Name fewer boxes, or single logs",
            )
        staying = [r for r in mine if r.id not in going]
        all_ = [r.id for r in mine]
        with (
            taken_down(conn, APART, class_id, at_utc_us),
            moves_told(conn, moved, all_),
            joining.changing(conn, all_, moved, going if staying else ()),
        ):
            for rows in (staying, list(going.values())):  # both, so that they stay apart
                if rows:
                    _mark(conn, rows, "apart", mine[0].origin)
        return _class_of(conn, min(going))

    return store.doing(work)


def _called(conn: Connection, halls: Iterable[str]) -> str:
    return listed((hall_words(conn, number) for number in sorted(halls)), "and")


class Part(NamedTuple):
    """A box's log of a class: at which start of the box it began, whether a power cut ended it."""

    boot: int
    cut: bool
    start_utc_us: int | None


def parts_of(conn: Connection, some: Collection[Row[Any]]) -> list[Part]:
    """Return what runs of one box say of their order."""
    boots = boots_of(conn, [row.id for row in some])
    cut = gathering.cut_off(conn, some)
    return [Part(boots.get(row.id, 0), row.id in cut, _began(row)) for row in some]


def _began(run: Row[Any]) -> int | None:
    """Return when a class began by a run of it; who was put in can't tell what it waited."""
    return None if run.started_by == journals.LATE else run.start_utc_us


def one_after_the_other(some: Collection[Part], slot_us: int) -> bool:
    """Whether a box's logs can be of one class: after each but the last it was cut off.

    One that tells the time began before the first would have ended.
    """
    starts = [part.start_utc_us for part in some if part.start_utc_us is not None]
    if starts and max(starts) - min(starts) >= slot_us:
        return False
    in_order = sorted(some, key=lambda part: part.boot)
    return all(one.cut and one.boot < other.boot for one, other in pairwise(in_order))


def _check_starts(conn: Connection, classes: Mapping[int, Sequence[Row[Any]]]) -> None:
    """Raise UsageError where a log of one class began when the other was over."""
    starts = {
        number: [start for row in some if (start := _began(row)) is not None]
        for number, some in classes.items()
    }
    if not all(starts.values()):
        return
    first, later = sorted(starts, key=lambda number: min(starts[number]))
    apart_us = max(max(starts[first]), max(starts[later])) - min(starts[first])
    if apart_us >= gathering.slot_us_of(conn, classes[first][0].id):
        raise UsageError(
            f"Class {first} was over before the last box of class {later} began, "
            f"{apart_us // MINUTE_US} min after its start, so they are two",
            "Leave them as they are",
        )


def _check_times(conn: Connection, of: Mapping[int, Sequence[Row[Any]]], slot_us: int) -> None:
    """Raise UsageError where a log without a clock can't be of the other class, by the one rule."""
    some = [row.id for rows in of.values() for row in rows]
    logs = gathering.logs_where(conn, _R.id.in_(some), slot_us, surely=True)
    for log, now in logs:
        (other,) = of.keys() - {now}
        there = [one for one, number in logs if number == other]
        if log.start_utc_us is not None:
            continue
        since, until = spell_of(there)
        box, which = log.box_id[-4:], f"the log of class {now} that tells no time"
        between = _played_between(conn, log, until, tuple(of))
        if between is not None:
            raise UsageError(
                f"Box {box} played class {between} before {which}, so that can't be of class "
                f"{other}, which was over when class {between} began",
                "Leave them as they are, or see first which logs that class has: "
                f"handbell class {between}",
            )
        if at_one_time([log], there):
            continue
        raise UsageError(
            f"Box {box} was collected after class {other}, before it played {which}, so they are "
            "two"
            if log.since_us >= since
            else f"Box {box} gave {which} before class {other}, so they are two",
            "Leave them as they are",
        )


def _played_between(conn: Connection, log: Log, over_us: int, of: Sequence[int]) -> int | None:
    """Return a class that a log's box played before it, when another was over, or None."""
    c = tables.classes.c
    later = and_(
        _R.box_id == log.box_id,
        _R.class_id.in_(select(c.id).where(c.start_utc_us >= over_us)),
        _R.class_id.not_in(of),
        _R.collected_utc_us <= log.collected_utc_us,
    )
    others = gathering.logs_where(conn, later, log.slot_us)
    return next((number for other, number in others if came_before(other, log)), None)


def set_date(
    store: Database,
    class_id: int,
    utc_us: int | None,
    moved: list[str] | None = None,
    at_utc_us: int = 0,
) -> int:
    """Say when a class began, or with None that its logs are right; return the number it has.

    Its logs stay as far apart as they were; one that tells no time began with the first. To
    ``moved`` a sentence is added for each log that goes to another class by that.
    """

    def work(conn: Connection) -> int:
        some = [row.id for row in runs_of(store, conn, class_id)]
        with (
            taken_down(conn, DATE, class_id, at_utc_us),
            moves_told(conn, moved, some),
            joining.changing(conn, some, moved),
        ):
            dating.date_by_hand(conn, some, utc_us)
        return _class_of(conn, some[0])

    return store.doing(work)


def put_together(conn: Connection, some: Collection[int], differ: list[str] | None = None) -> int:
    """File runs as one class, as a coach said; return its number.

    To ``differ`` a sentence is added for each name that gave way.
    """
    rows = conn.execute(_FACTS.where(_R.id.in_(some))).all()
    origins = {row.origin for row in rows}
    with joining.changing(conn, some, differ):
        _mark(conn, rows, "joined", None if None in origins else rows[0].origin)
    return _class_of(conn, rows[0].id)


def delete_class(store: Database, class_id: int, at_utc_us: int = 0) -> tuple[int, list[str]]:
    """Take a class out with all that belongs to it; return how many logs it had.

    All of it is kept aside, so that it can be brought back. Plans and timelines stay, since other
    classes may have them too. Logs that hung on it are filed anew; returned is also a sentence for
    those that go to another class.
    """

    def work(conn: Connection) -> tuple[int, list[str]]:
        some = [r.id for r in runs_of(store, conn, class_id)]
        with taken_down(conn, DELETE, class_id, at_utc_us, gone=some):
            return len(some), _out(conn, class_id, some)

    return store.doing(work)


def take_out(conn: Connection, run: int) -> list[str]:
    """Take one run out with all that is made of it, and its class if that has no other.

    Logs that hung on it are filed anew; returned is a sentence for those that go elsewhere.
    """
    class_id = conn.scalar(select(_R.class_id).where(_R.id == run))
    if class_id is None:
        _delete_runs(conn, [run])
        return []
    joining.take_turn(conn)
    return _out(conn, class_id, [run])


def _out(conn: Connection, class_id: int, some: Collection[int]) -> list[str]:
    """Take runs of a class out, and file anew what is left of it and what hung on them."""
    said: list[str] = []
    with moves_told(conn, said):
        same = alike(conn, some)
        with joining.changing(conn, some, said):
            _delete_runs(conn, some)
            left = conn.scalars(select(_R.id).where(_R.class_id == class_id)).all()
            if not left:
                _delete_class(conn, class_id)
        for run in set(same) & set(left):
            settle(conn, run)
    return list(dict.fromkeys(said))


def _class_of(conn: Connection, run: int) -> int:
    return int(conn.execute(select(_R.class_id).where(_R.id == run)).scalar_one())


def _delete_runs(conn: Connection, some: Collection[int]) -> None:
    for table in OF_RUN:
        conn.execute(delete(table).where(table.c.run.in_(some)))
    conn.execute(delete(tables.runs).where(_R.id.in_(some)))


def _delete_class(conn: Connection, class_id: int) -> None:
    w, c = tables.wearers, tables.classes
    conn.execute(delete(w).where(w.c.class_id == class_id))
    conn.execute(delete(c).where(c.c.id == class_id))


def runs_of(store: Database, conn: Connection, class_id: int) -> list[Row[Any]]:
    """Return a class's runs, when nobody else is filing runs of its plan."""
    joining.take_turn(conn)
    plan = conn.scalar(select(tables.classes.c.plan).where(tables.classes.c.id == class_id))
    if plan is None:
        raise StoreError(
            f"The store {store.name} holds no class {class_id}",
            "handbell report --list shows the classes there are",
        )
    return list(conn.execute(_FACTS.where(_R.class_id == class_id).order_by(_R.station, _R.id)))


def _is(run: Row[Any], word: str) -> bool:
    """Whether a word names a run's box, by the end of its id; a short number is a station.

    The first eight or more signs of a log's digest name that log alone.
    """
    if word.isdecimal() and len(word) < 3:
        return bool(run.station == int(word))
    by_log = len(word) >= LOG_LEAST and str(run.digest).startswith(word.lower())
    return by_log or str(run.box_id).lower().endswith(word.lower())


def _mark(conn: Connection, some: Iterable[Row[Any]], how: str, origin: str | None) -> None:
    """File runs as one class, of an origin."""
    rows = list(some)
    values = {"filed": filed_as(how, (r.digest for r in rows)), "kept": False, "origin": origin}
    conn.execute(update(tables.runs).where(_R.id.in_([r.id for r in rows])).values(values))


def filed_as(how: str, logs: Iterable[str]) -> str:
    """Return what logs are filed as that somebody said are one class."""
    said = "\0".join([how, *sorted(logs)])
    return short_hex(said.encode())
