"""Months of classes at once: each person's exercises in each class, added up.

What ``settle`` added up for each run is read, so that a million taps cost little time and memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, and_, func, or_, select, true

from handbell.store.classes.order import placed
from handbell.store.database import tables
from handbell.store.database.database import Database
from handbell.store.database.tables import amendments, classes, ratings, runs, sums, tasks, wearers
from handbell.store.logs.journals import WORD
from handbell.store.logs.timelines import slot_ms_of
from handbell.store.people.people import People
from handbell_core import timeline as t

from .efforts import efforts
from .queries import class_rows, load_class
from .records import ClassRow
from .settle import BIB
from .sums import ExerciseSums, added_up, joined, unpacked

Key = tuple[int, int]  # class and bib


@dataclass(frozen=True)
class PersonClass:
    """One bib that a class was planned for. Nothing is added up of somebody said to be absent."""

    bib: int
    name: str | None
    rating: int | None
    absent: bool
    exercises: tuple[ExerciseSums, ...]


@dataclass(frozen=True)
class GroupClass:
    """One class; ``slot_ms`` is its whole length as planned, breaks included.

    Where a remote began it, it is as long as it was by the clock.
    """

    row: ClassRow
    slot_ms: int
    people: tuple[PersonClass, ...]


def group_rows(
    store: Database, since_utc_us: int | None = None, until_utc_us: int | None = None
) -> list[GroupClass]:
    """Return the sums of every class begun in a time, both ends in it, the oldest first.

    A class of which no box had a clock began at its ``at_utc_us``.
    """
    at = classes.c.start_utc_us
    begun = and_(
        at.is_not(None),
        true() if since_utc_us is None else at >= since_utc_us,
        true() if until_utc_us is None else at <= until_utc_us,
    )
    with store.reading() as conn:
        lost = [
            number
            for number, over in placed(conn, since_utc_us).items()  # over before it was collected
            if until_utc_us is None or over <= until_utc_us
            if since_utc_us is None or over >= since_utc_us
        ]
        within = or_(begun, classes.c.id.in_(lost)) if lost else begun
        some = runs.c.class_id.in_(select(classes.c.id).where(within))
        rows = class_rows(conn, within)
        lengths = _lengths(conn, some)
        people = _people(store, conn, some)
    return [
        GroupClass(row, lengths.get(row.id, 0), tuple(people.get(row.id, ())))
        for row in reversed(rows)
    ]


def _people(
    store: Database, conn: Connection, some: ColumnElement[bool]
) -> dict[int, list[PersonClass]]:
    rated = select(runs.c.class_id, ratings.c.bib, ratings.c.rating)
    rated = rated.join(runs, runs.c.id == ratings.c.run).where(some).order_by(runs.c.digest)
    told = {(r.class_id, r.bib): r.rating for r in conn.execute(rated)}
    worn = select(wearers.c.class_id, wearers.c.bib, wearers.c.person, wearers.c.absent)
    known = People(conn)
    who = {(w.class_id, w.bib): (known.label(w.person), w.absent) for w in conn.execute(worn)}
    people: dict[int, list[PersonClass]] = {}
    for key, exercises in sorted(_exercises(store, conn, some).items()):
        name, absent = who.get(key, (None, False))
        own = () if absent else tuple(exercises)
        people.setdefault(key[0], []).append(PersonClass(key[1], name, told.get(key), absent, own))
    return people


def _exercises(
    store: Database, conn: Connection, some: ColumnElement[bool]
) -> dict[Key, list[ExerciseSums]]:
    found: dict[Key, dict[tuple[object, ...], list[ExerciseSums]]] = {}
    for class_id, bib, asked, *rest in conn.execute(_sums(some)):
        one = ExerciseSums._make([*rest[:6], unpacked(asked), *rest[6:]])
        found.setdefault((class_id, bib), {}).setdefault(one.exercise, []).append(one)
    exercises = {
        key: sorted(map(joined, by_exercise.values()), key=lambda e: e.asked)
        for key, by_exercise in found.items()
    }
    for class_id in conn.scalars(_with_a_spare(some)).all():
        exercises |= _one_by_one(store, class_id)
    for class_id, bib in conn.execute(_moved_away(some)):
        exercises.setdefault((class_id, bib), [])
    return exercises


def _sums(some: ColumnElement[bool]) -> Select[Any]:
    numbers = list(sums.c)[list(sums.c).index(sums.c.asked) + 1 :]
    asked = and_(
        tasks.c.timeline == runs.c.timeline,
        tasks.c.window == sums.c.window,
        tasks.c.slot == sums.c.slot,
    )
    names = "block item name ask tap both_sides"
    return (
        select(runs.c.class_id, sums.c.bib, sums.c.asked)
        .add_columns(*(tasks.c[name] for name in names.split()), *numbers)
        .select_from(runs)
        .join(sums, sums.c.run == runs.c.id)
        .join(tasks, asked)
        .where(some)
    )


def _with_a_spare(some: ColumnElement[bool]) -> Select[Any]:
    """Return the classes where two boxes played one station: their sums overlap."""
    played = select(runs.c.class_id).distinct().where(some)
    return played.group_by(runs.c.class_id, runs.c.station).having(func.count() > 1)


def _one_by_one(store: Database, class_id: int) -> dict[Key, list[ExerciseSums]]:
    record = load_class(store, class_id)
    found: dict[Key, list[ExerciseSums]] = {(class_id, bib): [] for bib in record.bibs}
    for first, one in added_up(efforts(record)):
        found[class_id, first.bib].append(one)
    return found


def _moved_away(some: ColumnElement[bool]) -> Select[Any]:
    """Return the bibs that did something which was another's as the coach said."""
    a = amendments.c
    standing = and_(some, a.what == BIB, a.undone_utc_us.is_(None), a.bib != 0)
    return select(runs.c.class_id, a.bib).distinct().join(runs, runs.c.id == a.run).where(standing)


def _lengths(conn: Connection, some: ColumnElement[bool]) -> dict[int, int]:
    """Return each class's length; only the heads of its timelines are read."""
    timelines = tables.timelines
    head = func.substr(timelines.c.data, 1, t.HEADER_SIZE)
    wanted = select(runs.c.class_id, head.label("head"))
    wanted = wanted.join(timelines, timelines.c.digest == runs.c.timeline).where(some)
    found: dict[int, int] = {}
    for class_id, data in conn.execute(wanted.distinct()):
        found[class_id] = max(found.get(class_id, 0), slot_ms_of(data))
    return found | _lasted(conn, some)


def _lasted(conn: Connection, some: ColumnElement[bool]) -> dict[int, int]:
    """Return how long classes were that a remote began, as most of their boxes have it."""
    told = select(runs.c.class_id, runs.c.start_utc_us, runs.c.end_utc_us)
    told = told.where(some, runs.c.started_by == WORD, runs.c.end_utc_us.is_not(None))
    by_class: dict[int, list[int]] = {}
    for class_id, start_utc_us, end_utc_us in conn.execute(told):
        by_class.setdefault(class_id, []).append((end_utc_us - start_utc_us) // 1000)
    return {class_id: int(median(lengths)) for class_id, lengths in by_class.items()}
