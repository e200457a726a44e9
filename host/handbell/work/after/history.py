"""Who came how often, how hard it was, and one person's months."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from handbell.analysis.doubt.doubts import Doubts, doubtful_by
from handbell.analysis.past.history import PastClass, classes_of, left_out, past_classes
from handbell.analysis.past.load import Week
from handbell.analysis.progress import ExerciseProgress, find_person, progress_of, regulars
from handbell.coach.library.shelf import load_library
from handbell.store import open_store
from handbell.store.classes.newest import PassedOver, newest

NOTE = (
    "Load is how hard a class was, by the answers, times its minutes, of these classes alone. A "
    "trend is a robust slope (Theil-Sen) with its 95 % interval, and needs five classes of the "
    'same exercise, windows and reps; "may be none" allows for the other trends. Doubtful data is '
    "left out."
)


@dataclass(frozen=True)
class Regular:
    """One person over all classes; the medians are None where nothing was rated."""

    name: str
    planned: int
    came: int
    last: date | None
    rating_median: float | None
    weekly_load_median: float | None


@dataclass(frozen=True)
class Everybody:
    """Everybody who came, up to the class ``until``.

    ``left_out`` and ``passed_over`` as of advice.
    """

    people: tuple[Regular, ...]
    until: int
    left_out: tuple[str, ...] = ()
    passed_over: tuple[PassedOver, ...] = ()
    note: str = NOTE


@dataclass(frozen=True)
class Months:
    """One person's months, up to the class ``until``.

    ``left_out``, of this name alone, and ``passed_over`` as of advice.
    """

    name: str
    planned: int
    came: int
    exercises: tuple[ExerciseProgress, ...]
    weeks: tuple[Week, ...]
    until: int
    left_out: tuple[str, ...] = ()
    passed_over: tuple[PassedOver, ...] = ()
    note: str = NOTE


def everybody(weeks: int, store_at: str | None = None) -> Everybody:
    """Return everybody who came in the weeks before the newest class."""
    classes, passed = _classes(weeks, store_at)
    return Everybody(
        people=tuple(
            Regular(
                name=one.person.name,
                planned=one.attendance.planned,
                came=one.attendance.came,
                last=one.attendance.last,
                rating_median=one.rating,
                weekly_load_median=one.weekly_load,
            )
            for one in regulars(classes)
        ),
        until=classes[-1].row.id,
        left_out=tuple(left_out(classes)),
        passed_over=passed,
    )


def months_of(who: str, weeks: int, store_at: str | None = None) -> Months:
    """Return one person's months, by name or by the bib worn last; raises UsageError for nobody."""
    with open_store(store_at, make=False) as store:
        number, passed = newest(store)
        classes = past_classes(store, number, weeks)
        person = find_person(classes, who)
        came = {one.row.id for one, _ in classes_of(classes, person.key)}
        doubtful = doubtful_by(Doubts(store, classes, load_library()).of(came))
        found = progress_of(classes, person, doubtful)
    return Months(
        name=found.person.name,
        planned=found.attendance.planned,
        came=found.attendance.came,
        exercises=found.exercises,
        weeks=found.weeks,
        until=classes[-1].row.id,
        left_out=tuple(left_out(classes, found.person.key)),
        passed_over=passed,
    )


def _classes(
    weeks: int, store_at: str | None
) -> tuple[Sequence[PastClass], tuple[PassedOver, ...]]:
    with open_store(store_at, make=False) as store:
        number, passed = newest(store)
        return past_classes(store, number, weeks), passed
