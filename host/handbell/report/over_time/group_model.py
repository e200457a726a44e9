"""The report of the whole group as plain data."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from handbell.analysis.past.history import Attendance, Person
from handbell.analysis.past.load import Week
from handbell.analysis.trend import Trend
from handbell.report.one_list import Listed

from .months import Months

CAUTION = (
    "Load is how hard a class was, by the answers, times its minutes; what people do elsewhere is "
    "not in it. Monotony and strain have no limits that hold for everybody: look for what is "
    "unlike the weeks before. None of this is medical advice; your qualification and local rules "
    "come first."
)


@dataclass(frozen=True)
class Middle:
    """The median of ``count`` people's figures."""

    median: float
    count: int


@dataclass(frozen=True)
class GroupWeek:
    """One week from Monday ``first`` on. ``made`` of the ``judged`` windows of everybody.

    ``in_doubt`` are those of the ``judged`` whose data is in doubt. ``came`` counts people, class
    by class, of the ``planned`` ones who should have; ``never`` of those who did not never pressed,
    though nobody said that they were absent. The rest is of people, None where none of them has it.
    """

    first: date
    classes: int
    came: int
    planned: int
    never: int
    made: int
    judged: int
    in_doubt: int
    rating: Middle | None
    load: Middle | None
    monotony: Middle | None
    strain: Middle | None


@dataclass(frozen=True)
class GroupPerson:
    """One person over the weeks; ``up`` and ``down`` name exercises, ``unclear`` counts them.

    ``in_doubt`` as of a week.
    """

    name: str
    attendance: Attendance
    made: int
    judged: int
    in_doubt: int
    rating: float | None
    weekly_load: float | None
    up: tuple[str, ...]
    down: tuple[str, ...]
    no_change: int
    unclear: int


@dataclass(frozen=True)
class GroupExercise:
    """One exercise over everybody who did it; ``in_doubt`` as of a week."""

    name: str
    people: int
    up: int
    down: int
    no_change: int
    unclear: int
    made: int
    judged: int
    in_doubt: int


@dataclass(frozen=True)
class GroupReport:
    """All of the group's report; ``headline`` are sentences, ``listed`` is who to talk to.

    Only the newest ``looked_at`` classes were searched for data in doubt, and those of who goes up
    or down.
    """

    first: date
    last: date
    classes: int
    headline: tuple[str, ...]
    looked_at: int
    listed: tuple[Listed, ...]
    weeks: tuple[GroupWeek, ...]
    people: tuple[GroupPerson, ...]
    exercises: tuple[GroupExercise, ...]
    deviation: str
    caution: str = CAUTION


@dataclass(frozen=True)
class Whole:
    """Somebody's weeks as they are worked out once; ``felt`` is the trend of their ratings.

    ``felt_harder``: it goes up, allowing for all the trends on the page.
    """

    person: Person
    attendance: Attendance
    months: list[Months]
    weeks: list[Week]
    ratings: list[tuple[date, int]]
    felt: Trend
    felt_harder: bool = False
