"""Who came how often, how hard it was, and one person's months."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from handbell.analysis.history import PastClass, past_classes
from handbell.analysis.load import Week
from handbell.analysis.progress import ExerciseProgress, find_person, progress_of, regulars
from handbell.store import open_store

NOTE = (
    "Load is how hard a class was, by the answers, times its minutes, of these classes alone. A "
    "trend is a robust slope (Theil-Sen) with its 95 % interval, and needs five classes of the "
    "same exercise, windows and reps."
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
    """Everybody who came."""

    people: tuple[Regular, ...]
    note: str = NOTE


@dataclass(frozen=True)
class Months:
    """One person's months."""

    name: str
    planned: int
    came: int
    exercises: tuple[ExerciseProgress, ...]
    weeks: tuple[Week, ...]
    note: str = NOTE


def everybody(weeks: int, store_at: str | None = None) -> Everybody:
    """Return everybody who came in the weeks before the newest class."""
    return Everybody(
        tuple(
            Regular(
                name=one.person.name,
                planned=one.attendance.planned,
                came=one.attendance.came,
                last=one.attendance.last,
                rating_median=one.rating,
                weekly_load_median=one.weekly_load,
            )
            for one in regulars(_classes(weeks, store_at))
        )
    )


def months_of(who: str, weeks: int, store_at: str | None = None) -> Months:
    """Return one person's months, by name or by the bib worn last; raises UsageError for nobody."""
    classes = _classes(weeks, store_at)
    found = progress_of(classes, find_person(classes, who))
    came = found.attendance
    return Months(found.person.name, came.planned, came.came, found.exercises, found.weeks)


def _classes(weeks: int, store_at: str | None) -> Sequence[PastClass]:
    with open_store(store_at, make=False) as store:
        return past_classes(store, None, weeks)
