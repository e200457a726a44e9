"""The report of one athlete as plain data: their months, in words to hand over to them.

Nothing of anybody else is in it, nor what a coach should ask first.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from handbell.analysis.advising import advise_class
from handbell.analysis.doubt.doubts import Doubtful, Doubts, doubtful_by, nothing_doubtful
from handbell.analysis.past.history import (
    MINUTE_MS,
    Attendance,
    Attended,
    PastClass,
    Person,
    attendance,
    classes_of,
    missing_from,
    names_unsure,
    past_classes,
    rated_of,
)
from handbell.analysis.past.load import Week, session_load, weeks_of
from handbell.analysis.progress import find_person
from handbell.base.errors import HandbellError
from handbell.base.times import day_of, days_of, whole_clock
from handbell.base.words import few, listed, several
from handbell.coach.advice.limits import load_limits
from handbell.coach.library.shelf import load_library
from handbell.report.advised import Single, single_of
from handbell.store import Store
from handbell.store.people.names import key_of
from handbell_core import timeline as t

from .months import Months, change_of, months_of

WEEKS = 26
MOST_NAMED = 4
CAUTION = (
    "These numbers are taps on a button and answers you gave yourself, no measure of health. "
    "What to do with them is between you and your coach. If something hurts or you feel unwell, "
    "stop, and ask a qualified health professional."
)


@dataclass(frozen=True)
class Came:
    """One class that was planned for somebody, and whether they came."""

    class_id: int
    day: date
    came: bool


@dataclass(frozen=True)
class ClassLine:
    """One class they came to; ``rating`` and ``load`` None where they gave no answer.

    ``rated``: the plan asks how hard it was. ``doubtful``: of its targets or holds some
    are in doubt.
    """

    class_id: int
    day: date
    title: str
    minutes: float
    targets: int
    targets_made: int
    earned_rest_ms: int
    holds: int
    holds_kept: int
    rated: bool
    rating: int | None
    load: float | None
    doubtful: bool


@dataclass(frozen=True)
class AthleteReport:
    """All of one athlete's report. ``headline`` are sentences that speak to them."""

    name: str
    first: date
    last: date
    attendance: Attendance
    headline: tuple[str, ...]
    planned: tuple[Came, ...]
    exercises: tuple[Months, ...]
    classes: tuple[ClassLine, ...]
    weeks: tuple[Week, ...]
    next: tuple[Single, ...]
    caution: str = CAUTION


def athlete_report(
    store: Store, who: str, until: int | None = None, weeks: int = WEEKS
) -> AthleteReport:
    """Work out one athlete's months up to a class, the newest without an id.

    ``who`` is a name, or the number of the bib they wore last. Raises UsageError for somebody
    who never came, StoreError when there is no such class.
    """
    classes = past_classes(store, until, weeks)
    person = find_person(classes, who)
    history = classes_of(classes, person.key)
    doubtful = _doubtful(store, classes, history)
    exercises = tuple(months_of(history, doubtful))
    lines = tuple(_class_line(past, there, doubtful) for past, there in history)
    came = tuple(_came(classes, person.key))
    there = attendance(classes, person.key)
    return AthleteReport(
        name=person.name,
        first=came[0].day,
        last=came[-1].day,
        attendance=there,
        headline=(*_headline(there, came, exercises, lines[-1]), *_left_out(classes, person)),
        planned=came,
        exercises=exercises,
        classes=lines,
        weeks=tuple(weeks_of(rated_of(classes, person.key))),
        next=_next(store, person, history[-1][0]),
    )


def _came(classes: Sequence[PastClass], key: str) -> Iterable[Came]:
    """Yield the classes that somebody should have come to, oldest first."""
    for one in classes:
        here = [who.there for who in one.people if who.person.key == key]
        if missing_from(one, classes, key):
            here.append(False)
        for there in here:
            yield Came(one.row.id, one.day, there)


def _doubtful(
    store: Store, classes: Sequence[PastClass], history: Sequence[tuple[PastClass, Attended]]
) -> Doubtful:
    try:
        library = load_library()
    except HandbellError:  # in the coach's own file; the coach is told on the class's page
        return nothing_doubtful
    came = {past.row.id for past, _ in history}
    return doubtful_by(Doubts(store, classes, library).of(came))


def _class_line(past: PastClass, who: Attended, doubtful: Doubtful) -> ClassLine:
    minutes = past.slot_ms / MINUTE_MS
    targets = [e for e in who.exercises if e.ask == t.ASK_TARGET]
    holds = [e for e in who.exercises if e.ask == t.ASK_HOLD]
    return ClassLine(
        class_id=past.row.id,
        day=past.day,
        title=past.row.title,
        minutes=minutes,
        targets=sum(e.judged for e in targets),
        targets_made=sum(e.made for e in targets),
        earned_rest_ms=sum(e.earned_rest_ms for e in targets),
        holds=sum(e.judged for e in holds),
        holds_kept=sum(e.made for e in holds),
        rated=past.rated,
        rating=who.rating,
        load=session_load(who.rating, minutes),
        doubtful=any(doubtful(past, who, e) for e in (*targets, *holds)),
    )


def _next(store: Store, person: Person, last: PastClass) -> tuple[Single, ...]:
    """Return the steps advised after the last class they came to, but not from doubtful data."""
    try:
        library, limits = load_library(), load_limits()
    except HandbellError:  # in the coach's own files; the coach is told on the class's page
        return ()
    bibs = {w.bib for w in last.people if w.person.key == person.key}
    return tuple(
        single_of(advice)
        for advice in advise_class(store, last.row.id, library, limits).advices
        if advice.case.bib in bibs and advice.step is not None and advice.judged
    )


def _headline(
    there: Attendance,
    planned: Sequence[Came],
    exercises: Sequence[Months],
    last: ClassLine,
) -> list[str]:
    during = days_of(planned[0].day, planned[-1].day)
    classes = several(there.planned, "class", "classes")
    found = [f"You came to {there.came} of {classes}, {during}."]
    for words, direction, then in (
        ("Going up", 1, ""),
        ("Going down", -1, " Talk it over with your coach."),
    ):
        moved = [m for m in exercises if m.direction == direction]
        moved.sort(key=lambda m: abs(m.trend.change_percent or 0), reverse=True)
        said = [f"{m.name} (by {change_of(m)} %)" for m in moved]
        if said:
            found.append(f"{words}: {listed(few(said, MOST_NAMED))}.{then}")
    if all(m.direction is None for m in exercises):
        found.append("There is no trend yet: that takes five classes that ask for the same.")
    found.append(_last_words(last))
    return found


def _left_out(classes: Sequence[PastClass], person: Person) -> list[str]:
    """Say which classes count for nobody, as two bibs there have the name."""
    key = key_of(person.name)
    days = [day_of(c.day) for c in classes if key in map(key_of, names_unsure(c))]
    some = listed(few(days, MOST_NAMED))
    left = f"Left out: the {'class' if len(days) == 1 else 'classes'} of {some}"
    return [f"{left}. Two bibs there have your name."] if days else []


def _last_words(last: ClassLine) -> str:
    said = []
    if last.targets:
        said.append(f"{last.targets_made} of {several(last.targets, 'target')} made")
        said.append(f"{whole_clock(last.earned_rest_ms)} of rest earned")
    if last.holds:
        said.append(f"{last.holds_kept} of {several(last.holds, 'hold')} kept")
    doubt = ", in doubt" if last.doubtful else ""
    words = f"{listed(said)}{doubt}." if said else "nothing to make."
    hard = "" if last.rating is None else f" You rated it {last.rating} of 10."
    return f"Your last class, {day_of(last.day)}: {words}{hard}"
