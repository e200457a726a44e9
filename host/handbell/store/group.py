"""Months of classes at once, added up by the database: each person's exercises in each class.

Only sums leave the database, so that a million taps cost no more memory than a thousand.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from sqlalchemy import (
    CTE,
    BigInteger,
    ColumnElement,
    Row,
    Select,
    and_,
    case,
    cast,
    distinct,
    func,
    or_,
    select,
    true,
)

from .efforts_sql import effort_rows
from .store import Store
from .tables import classes, plans, ratings, runs, wearers


@dataclass(frozen=True)
class ExerciseSums:
    """One bib's rounds of one exercise in one class.

    ``reps`` is the sum of ``counted`` rounds, ``best_reps`` the most; ``judged`` targets can be
    judged, ``made`` of them were, in ``finish_ms`` together, with ``earned_rest_ms`` left. Gaps
    are ms from rep to rep, ``gap_ms`` the mean of the rounds' medians; None where nothing is told.
    """

    block: int
    item: int
    name: str
    ask: int
    rounds: int
    counted: int
    reps: int
    best_reps: int | None
    judged: int
    made: int
    finish_ms: int
    earned_rest_ms: int
    holds: int
    holds_kept: int
    gap_ms: float | None
    best_gap_ms: float | None
    worst_gap_ms: float | None
    pressed: bool


@dataclass(frozen=True)
class PersonClass:
    """One bib in one class. ``came`` False: absent as far as anyone can tell, nothing pressed."""

    bib: int
    name: str | None
    rating: int | None
    came: bool
    exercises: tuple[ExerciseSums, ...]


@dataclass(frozen=True)
class GroupClass:
    """One class; ``at_utc_us`` is when it was collected if no box had a clock."""

    class_id: int
    title: str
    at_utc_us: int
    boxes: int
    people: tuple[PersonClass, ...]


def group_rows(
    store: Store, since_utc_us: int | None = None, until_utc_us: int | None = None
) -> list[GroupClass]:
    """Return the sums of every class begun in a time, both ends in it, the oldest first.

    Somebody who was said to be absent is not in them.
    """
    at = func.coalesce(classes.c.start_utc_us, classes.c.collected_utc_us)
    within = and_(
        true() if since_utc_us is None else at >= since_utc_us,
        true() if until_utc_us is None else at <= until_utc_us,
    )
    some = runs.c.class_id.in_(select(classes.c.id).where(within))
    with store.reading() as conn:
        found = conn.execute(_classes(at, within)).all()
        told = {(r.class_id, r.bib): r.rating for r in conn.execute(_ratings(some))}
        worn = wearers.c.class_id, wearers.c.bib, wearers.c.name
        names = {(w.class_id, w.bib): w.name for w in conn.execute(select(*worn))}
        people: dict[int, list[PersonClass]] = {}
        sums = conn.execute(_sums(effort_rows(some)))
        for (class_id, bib), rows in groupby(sums, lambda row: (row.class_id, row.bib)):
            key = class_id, bib
            one = _person(bib, names.get(key), told.get(key), rows)
            people.setdefault(class_id, []).append(one)
    return [
        GroupClass(id_, title, at_utc_us, boxes, tuple(people.get(id_, ())))
        for id_, title, at_utc_us, boxes in found
    ]


def _person(
    bib: int, name: str | None, rating: int | None, rows: Iterable[Row[Any]]
) -> PersonClass:
    exercises = tuple(ExerciseSums(*tuple(row)[2:]) for row in rows)
    came = rating is not None or any(e.pressed for e in exercises)
    return PersonClass(bib, name, rating, came, exercises)


def _classes(at: ColumnElement[int], within: ColumnElement[bool]) -> Select[Any]:
    boxes = func.count(distinct(runs.c.box_id))
    return (
        select(classes.c.id, plans.c.title, at, boxes)
        .join(plans, plans.c.digest == classes.c.plan)
        .outerjoin(runs, runs.c.class_id == classes.c.id)
        .where(within)
        .group_by(classes.c.id, plans.c.title, at)
        .order_by(at, classes.c.id)
    )


def _ratings(some: ColumnElement[bool]) -> Select[Any]:
    """Return the ratings, of two by one bib in one class the one taken in last at the end."""
    return (
        select(runs.c.class_id, ratings.c.bib, ratings.c.rating)
        .join(runs, runs.c.id == ratings.c.run)
        .where(some)
        .order_by(ratings.c.run)
    )


def _sums(efforts: CTE) -> Select[Any]:
    e = efforts.c
    place = e.block, e.item, e.name, e.ask
    pressed = or_(e.reps > 0, and_(e.held, ~e.kept))
    return (
        select(
            e.class_id,
            e.bib,
            *place,
            func.count(),
            func.count(e.reps),
            _sum(e.reps),
            func.max(e.reps),
            _how_many(e.judged),
            _how_many(e.made),
            _sum(case((e.judged, e.finish_ms))),
            _sum(case((e.judged, e.earned_rest_ms))),
            _how_many(e.held),
            _how_many(e.kept),
            func.avg(e.median_gap_ms),
            func.min(e.best_gap_ms),
            func.max(e.worst_gap_ms),
            _how_many(pressed) > 0,
        )
        .group_by(e.class_id, e.bib, *place)
        .order_by(e.class_id, e.bib, *place)
    )


def _how_many(which: ColumnElement[bool]) -> ColumnElement[int]:
    return func.sum(case((which, 1), else_=0))


def _sum(what: ColumnElement[Any]) -> ColumnElement[int]:
    return cast(func.coalesce(func.sum(what), 0), BigInteger)
