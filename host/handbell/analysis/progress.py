"""Progress over months: who came how often and how hard it was, and one person's exercises."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median

from handbell.base.errors import UsageError
from handbell.base.words import quoted
from handbell.store.people.names import key_of
from handbell.store.people.wearers import two_or_one

from .doubt.doubts import Doubtful, nothing_doubtful
from .past.history import (
    DAY_US,
    Attendance,
    PastClass,
    Person,
    attendance,
    classes_of,
    everybody,
    names_unsure,
    rated_of,
)
from .past.load import Week, weeks_of
from .sums import Score, score_of, task_of
from .trend import Trend, directions, trend_of

Key = tuple[object, ...]


@dataclass(frozen=True)
class Regular:
    """One person over all classes; medians are None where nothing was rated."""

    person: Person
    attendance: Attendance
    rating: float | None
    weekly_load: float | None


@dataclass(frozen=True)
class ExerciseProgress:
    """One person's score in one task, by class; ``what`` says what the score is.

    ``bounds`` say "at most" or "at least" where no more is known of one. ``direction`` is 1 up, -1
    down, 0 no clear change, None where none can be told, allowing for the person's other trends.
    """

    name: str
    goals: tuple[int, ...]
    what: str
    days: tuple[date, ...]
    scores: tuple[float, ...]
    bounds: tuple[str, ...]
    trend: Trend
    direction: int | None


@dataclass(frozen=True)
class Progress:
    """One person's months."""

    person: Person
    attendance: Attendance
    exercises: tuple[ExerciseProgress, ...]
    weeks: tuple[Week, ...]


def regulars(classes: Sequence[PastClass]) -> list[Regular]:
    """Return everybody who came, named people first."""
    return [_regular(classes, person) for person in everybody(classes)]


def _regular(classes: Sequence[PastClass], person: Person) -> Regular:
    rated = rated_of(classes, person.key)
    ratings = [one.rating for one in rated if one.rating is not None]
    loads = [w.total for w in weeks_of(rated) if w.total is not None]
    return Regular(
        person,
        attendance(classes, person.key),
        median(ratings) if ratings else None,
        median(loads) if loads else None,
    )


def find_person(classes: Sequence[PastClass], who: str) -> Person:
    """Return the person that a name means, or whoever last wore a bib, by its number.

    Raises UsageError when nobody is meant.
    """
    people = everybody(classes)
    keys = (f"name {key_of(who)}", who.casefold())
    worn = (
        w.person
        for c in reversed(classes)
        for w in c.people
        if w.there and not w.person.unsure and str(w.bib) == who
    )
    person = next((p for p in people if p.key in keys), None) or next(worn, None)
    if person is None:
        for one in reversed(classes):
            for name, bibs in names_unsure(one).items():
                if key_of(name) == key_of(who):
                    raise UsageError(
                        f"{quoted(name)} is bib {bibs[0]} and bib {bibs[1]} of class {one.row.id}",
                        two_or_one(one.row.id, name, bibs),
                    )
        known = ", ".join(p.name for p in people) or "nobody"
        raise UsageError(f'Nobody called "{who}" came to a class', f"There came: {known}")
    return person


def progress_of(
    classes: Sequence[PastClass], person: Person, doubtful: Doubtful = nothing_doubtful
) -> Progress:
    """Return one person's scores by task, in the order in which they were first done.

    Doubtful ones are left out.
    """
    found: dict[Key, list[tuple[PastClass, Score]]] = {}
    names: dict[Key, tuple[str, tuple[int, ...]]] = {}
    for one, who in classes_of(classes, person.key):
        for e in who.exercises:
            score = score_of(e)
            if score is not None and not doubtful(one, who, e):
                key = (*task_of(e), e.block, e.item)
                names[key] = e.name, tuple(a.goal for a in e.asked)
                found.setdefault(key, []).append((one, score))
    trends = [_trend(some) for some in found.values()]
    ways = directions(trends)
    return Progress(
        person,
        attendance(classes, person.key),
        tuple(
            _exercise(*names[key], some, trend, way)
            for (key, some), trend, way in zip(found.items(), trends, ways, strict=True)
        ),
        tuple(weeks_of(rated_of(classes, person.key))),
    )


def _trend(some: Sequence[tuple[PastClass, Score]]) -> Trend:
    days = [one.at_us / DAY_US for one, _ in some]
    values = [score.value for _, score in some]
    return trend_of(days, values, [score.bound != "" for _, score in some])


def _exercise(
    name: str,
    goals: tuple[int, ...],
    some: Sequence[tuple[PastClass, Score]],
    trend: Trend,
    direction: int | None,
) -> ExerciseProgress:
    return ExerciseProgress(
        name=name,
        goals=goals,
        what=some[0][1].unit,
        days=tuple(one.day for one, _ in some),
        scores=tuple(score.value for _, score in some),
        bounds=tuple(score.bound for _, score in some),
        trend=trend,
        direction=direction,
    )
