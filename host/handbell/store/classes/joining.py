"""Filing runs by class: the rules of ``parted`` put into the store's tables.

Each time a run comes in, those whose place may depend on it are parted anew. A class keeps its
number as long as most of its runs stay together; names go along with the logs they were said of.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import Any

from sqlalchemy import (
    Connection,
    delete,
    func,
    insert,
    literal_column,
    select,
    update,
)

from handbell.base.errors import StoreError
from handbell.store.database.database import Database
from handbell.store.database.parts import HERE
from handbell.store.database.tables import classes, runs, wearers
from handbell.store.people.worn import move_names, said_of_all
from handbell.store.results.settle import settle_borrowers

from .doubts import of_another_origin, sentences
from .gathering import Rows, hanging_on, parted_around
from .moves import moves, moves_told
from .parted import Parted

Part = tuple[str, Rows, Parted]

_FILING = 0x68616E64  # of PostgreSQL's numbers for such turns; migrating has another
_OF_HALL = func.hashint8(func.coalesce(literal_column(HERE), 0))
_TURN = select(func.pg_advisory_xact_lock(_FILING, _OF_HALL))


def take_turn(conn: Connection) -> None:
    """Wait until no other program is filing runs of this hall (SQLite has one writer).

    Of all plans: a run tells when its box played logs of other plans, which are filed anew by it.
    """
    if conn.dialect.name == "postgresql":
        conn.execute(_TURN)


def file(
    conn: Connection,
    run: int,
    anew: Collection[int] = (),
    differ: list[str] | None = None,
    moved: list[str] | None = None,
) -> int:
    """File a run that is in the store, and what depends on it; return the class it is in now.

    ``anew`` are runs that take no class's number along. To ``differ`` a sentence is added for each
    name that gave way to another of the same bib, to ``moved`` for logs that a coach may have seen
    in another class.
    """
    parts = [parted_around(conn, run)]
    seen = set(parts[0][1])
    _part_more(conn, hanging_on(conn, run), parts, seen)
    numbers = _numbers([(rows, found) for _, rows, found in parts], anew)
    now: dict[int, int] = {}
    for (plan, rows, found), number in zip(parts, numbers, strict=True):
        now |= _write(conn, plan, rows, found, number, differ, moved)
    return now[run]


def _part_more(conn: Connection, some: Iterable[int], parts: list[Part], seen: set[int]) -> None:
    """Part what hangs together with some runs, too, and with whom a class was shared until now.

    What a box met may be other boxes since more logs are there: then nothing but the class's number
    leads to those with which it was. One whose timeline is damaged stays where it is.
    """
    left = sorted(some)
    while True:
        for run in left:
            if run not in seen:
                seen.add(run)
                with suppress(StoreError):
                    parts.append(parted_around(conn, run))
                    seen |= set(parts[-1][1])
        of = {row.class_id for _, rows, _ in parts for row in rows.values()} - {None}
        mates = conn.scalars(select(runs.c.id).where(runs.c.class_id.in_(of)))
        left = sorted(set(mates) - seen)
        if not left:
            return


@contextmanager
def changing(
    conn: Connection,
    some: Collection[int],
    differ: list[str] | None = None,
    anew: Collection[int] = (),
) -> Iterator[None]:
    """Let the work in it change what some runs tell, or take them out; file anew what hangs on it.

    That is what hung on them before and what does now. Nobody changes otherwise when a run that is
    filed began, or as what it is filed. ``anew`` and ``differ`` as in ``file``.
    """
    before = _around(conn, some)
    of = _classes_of(conn, some)
    mates = set(conn.scalars(select(runs.c.id).where(runs.c.class_id.in_(of))))
    yield
    _tell(conn, of)  # so that no run is missed by when its class began
    there = select(runs.c.id).where(runs.c.id.in_(list(some)), runs.c.class_id.is_not(None))
    now = set(conn.scalars(there))
    left = {*before, *(mates - set(some)), *now, *_around(conn, now)}
    file_each(conn, sorted(left), differ, anew)


def _around(conn: Connection, some: Collection[int]) -> set[int]:
    """Return the other runs whose place may depend on some; not by a timeline that is damaged."""
    found: set[int] = set()
    for run in some:
        with suppress(StoreError):
            if run not in found:
                found |= set(parted_around(conn, run)[1])
            found |= hanging_on(conn, run)
    return found - set(some)


def file_all(conn: Connection) -> list[str]:
    """File all that is in a store by the rules of now; return a sentence for all that went.

    For a store whose logs were filed by other rules, or with other starts.
    """
    said: list[str] = []
    r, c = runs.c, classes.c
    empty = select(c.id).where(c.id.not_in(select(r.class_id).where(r.class_id.is_not(None))))
    for table, key in ((wearers, wearers.c.class_id), (classes, c.id)):
        conn.execute(delete(table).where(key.in_(empty)))
    latest = select(func.max(r.start_utc_us)).where(r.class_id == c.id).scalar_subquery()
    with moves_told(conn, said):
        conn.execute(update(classes).values(start_utc_us=latest))  # so that no run is missed by it
        all_ = select(r.id).where(r.class_id.is_not(None)).order_by(r.id)
        file_each(conn, conn.scalars(all_).all(), said)
    return list(dict.fromkeys(said))


def file_each(
    conn: Connection,
    some: Iterable[int],
    differ: list[str] | None = None,
    anew: Collection[int] = (),
) -> None:
    """File runs, and what depends on each; of those that no longer do one keeps the number.

    One whose timeline in the store is damaged stays where it is.
    """
    seen: set[int] = set()
    found: list[Part] = []
    _part_more(conn, some, found, seen)
    numbers = _numbers([(rows, parts) for _, rows, parts in found], anew)
    for (plan, rows, parts), number in zip(found, numbers, strict=True):
        _write(conn, plan, rows, parts, number, differ, None)


def doubts(store: Database, some: Iterable[int]) -> list[str]:
    """Return a sentence for each doubt in how runs were filed, and how to settle it."""
    with store.reading() as conn:
        return doubts_in(conn, some)


def doubts_of(store: Database, class_id: int) -> list[str]:
    """Return a sentence for each doubt that a class is in."""
    with store.reading() as conn:
        mine = select(runs.c.id).where(runs.c.class_id == class_id)
        return doubts_in(conn, conn.scalars(mine).all())


def doubts_in(
    conn: Connection,
    some: Iterable[int],
    told: Collection[int] = (),
) -> list[str]:
    """As ``doubts``; of classes in ``told`` it was said that they are another coach's.

    Doubts of other classes were told when theirs came in. Nothing is said of a run whose timeline
    in the store is damaged.
    """
    said: dict[str, None] = {}
    seen: set[int] = set()
    started = select(runs.c.id).where(runs.c.id.in_(list(some)), runs.c.class_id.is_not(None))
    of = select(runs.c.class_id).where(runs.c.id.in_(list(some)), runs.c.class_id.is_not(None))
    about = conn.scalars(of.distinct().order_by(runs.c.class_id)).all()
    for run in conn.scalars(started.order_by(runs.c.id)).all():
        if run in seen:
            continue
        with suppress(StoreError):
            _, rows, found = parted_around(conn, run)
            seen |= set(rows)
            said |= dict.fromkeys(sentences(rows, found, about))
    for class_id in about:
        if class_id not in told:
            said |= dict.fromkeys(of_another_origin(conn, class_id))
    return list(said)


def _write(
    conn: Connection,
    plan: str,
    rows: Rows,
    found: Parted,
    number: dict[int, int],
    differ: list[str] | None,
    told: list[str] | None,
) -> dict[int, int]:
    """Give each group of logs the number of a class, or a new one; return the class of each run."""
    now: dict[int, int] = {}
    for place, group in enumerate(found.classes):
        mine = [rows[log.run] for log in group]
        if place not in number:
            facts = {"plan": plan, **_facts_of(mine)}
            made = conn.execute(insert(classes), facts).inserted_primary_key
            assert made is not None
            number[place] = int(made[0])
        now |= {row.id: number[place] for row in mine}
    moved = {run for run, class_id in now.items() if rows[run].class_id != class_id}
    went = {now[run] for run in moved}
    for class_id in went:
        some = [run for run in moved if now[run] == class_id]
        conn.execute(update(runs).where(runs.c.id.in_(some)).values(class_id=class_id))
    _tell(conn, {*now.values(), *(rows[run].class_id for run in moved)} - {None})
    if told is not None:
        told += moves(conn, rows, now)
    before = {run: rows[run].class_id for run in moved}
    if moved:
        settle_borrowers(conn, {*went, *before.values()} - {None})
    if any(class_id is not None for class_id in before.values()) or said_of_all(conn, went):
        empty = move_names(conn, before, differ)
        conn.execute(delete(classes).where(classes.c.id.in_(empty)))
    return now


def _facts_of(some: Iterable[Any]) -> dict[str, Any]:
    """Return what runs tell of their class: when it began, by whom, and when it was collected."""
    rows = list(some)
    timed = [row for row in rows if row.start_utc_us is not None]
    first = min(timed or rows, key=lambda row: (row.start_utc_us or 0, row.digest))
    return {
        "start_utc_us": first.start_utc_us,
        "started_by": first.started_by,
        "collected_utc_us": min(row.collected_utc_us for row in rows),
    }


def _tell(conn: Connection, of: Iterable[int | None]) -> None:
    """Let classes tell what all their runs do, also those that nothing else depends on."""
    r = runs.c
    wanted = select(r.class_id, r.digest, r.start_utc_us, r.started_by, r.collected_utc_us)
    by_class: dict[int, list[Any]] = {}
    for row in conn.execute(wanted.where(r.class_id.in_(list(of)))):
        by_class.setdefault(row.class_id, []).append(row)
    for class_id, mine in by_class.items():
        conn.execute(update(classes).where(classes.c.id == class_id).values(_facts_of(mine)))


def _classes_of(conn: Connection, some: Collection[int]) -> list[int]:
    r = runs.c
    wanted = select(r.class_id).where(r.id.in_(list(some)), r.class_id.is_not(None))
    return list(conn.scalars(wanted.distinct()))


def _numbers(
    parts: Sequence[tuple[Rows, Parted]], anew: Collection[int] = ()
) -> list[dict[int, int]]:
    """Return for each part which group goes on under which class's number.

    It is the one where most of that class's runs are; of equals, where the first of them is.
    """
    claims: dict[tuple[int, int, int], list[int]] = {}
    for part, (rows, found) in enumerate(parts):
        for place, group in enumerate(found.classes):
            for log in group:
                class_id = rows[log.run].class_id
                if class_id is not None and log.run not in anew:
                    claim = class_id, part, place
                    claims.setdefault(claim, []).append(log.run)
    numbers: list[dict[int, int]] = [{} for _ in parts]
    taken: set[int] = set()
    in_order = sorted(claims.items(), key=lambda one: (-len(one[1]), one[0][0], min(one[1])))
    for (class_id, part, place), _ in in_order:
        if place not in numbers[part] and class_id not in taken:
            numbers[part][place] = class_id
            taken.add(class_id)
    return numbers
