"""The report of the whole group over some weeks, worked out for the coach."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import timedelta
from statistics import median

from handbell.analysis.advising import WEEKS as ADVICE_WEEKS
from handbell.analysis.advising import advise_last
from handbell.analysis.doubt.doubts import Doubtful, Doubts, doubtful_by, nothing_doubtful
from handbell.analysis.lately import lately_of
from handbell.analysis.past.history import (
    Attended,
    PastClass,
    Person,
    attendance,
    classes_of,
    everybody,
    expected,
    last_weeks,
    left_out,
    past_classes,
    rated_of,
)
from handbell.analysis.past.load import WEEK, week_of, weeks_of
from handbell.analysis.trend import directions, trend_of
from handbell.base.errors import HandbellError
from handbell.coach.advice.limits import load_limits
from handbell.coach.library.shelf import load_library
from handbell.report.one_list import Listed, one_list
from handbell.store import Store

from .group_model import (
    GroupExercise,
    GroupPerson,
    GroupReport,
    GroupWeek,
    Middle,
    Whole,
)
from .group_words import headline, over_time
from .months import Months, months_of, told_together

WEEKS = 12
LATELY = 3  # of somebody's last classes, for the list
LOOKED_AT = 40  # classes; a year of many would take minutes


def group_report(store: Store, until: int | None = None, weeks: int = WEEKS) -> GroupReport:
    """Work out the group's weeks up to a class, the newest without an id; raises StoreError."""
    seen = past_classes(store, until, max(weeks, ADVICE_WEEKS))
    classes = last_weeks(seen, weeks)
    whole, doubtful, listed = _looked_at(store, seen, classes)
    by_week = tuple(_weeks(classes, whole, doubtful))
    people = tuple(sorted((_person(one) for one in whole), key=_by_name))
    return GroupReport(
        first=classes[0].day,
        last=classes[-1].day,
        classes=len(classes),
        headline=(*headline(by_week, people), *(f"{one}." for one in left_out(classes))),
        looked_at=min(LOOKED_AT, len(classes)),
        listed=listed,
        weeks=by_week,
        people=people,
        exercises=tuple(_exercises(whole)),
        deviation=next((w.deviation.value for one in whole for w in one.weeks), ""),
    )


def _by_name(person: GroupPerson) -> tuple[int, str]:
    bib = person.name.startswith("Bib ")
    return (len(person.name) if bib else 0, person.name.casefold())


def _whole(
    classes: Sequence[PastClass], person: Person, doubtful: Doubtful = nothing_doubtful
) -> Whole:
    history = classes_of(classes, person.key)
    ratings = [(past.day, who.rating) for past, who in history if who.rating is not None]
    days = [float(day.toordinal()) for day, _ in ratings]
    return Whole(
        person,
        attendance(classes, person.key),
        months_of(history, doubtful),
        weeks_of(rated_of(classes, person.key)),
        ratings,
        trend_of(days, [float(rating) for _, rating in ratings]),
    )


def _looked_at(
    store: Store, seen: Sequence[PastClass], classes: Sequence[PastClass]
) -> tuple[list[Whole], Doubtful, tuple[Listed, ...]]:
    """Return everybody's weeks, what is in doubt about them, and who to talk to."""
    try:
        library, limits = load_library(), load_limits()
    except HandbellError:  # in the coach's own files; the coach is told with the advice
        return _together([_whole(classes, p) for p in everybody(classes)]), nothing_doubtful, ()
    doubts = Doubts(store, seen, library)
    whole, doubtful = _sure(classes, doubts)
    advised = advise_last(store, last_weeks(seen, ADVICE_WEEKS), library, limits, doubts)
    keys = {one.person.key for one in whole}
    lately = [one for one in lately_of(classes, doubts.of, LATELY) if one.key in keys]
    reasons = over_time(whole, classes[-1].day)
    return whole, doubtful, one_list(lately, advised.advices, limits, reasons)


def _sure(classes: Sequence[PastClass], doubts: Doubts) -> tuple[list[Whole], Doubtful]:
    """Return everybody's weeks; who goes somewhere does so without what is in doubt.

    Of many classes only the newest are read for it, and those of who goes somewhere, as long as
    somebody else comes up by that.
    """
    needed = {c.row.id for c in classes[-LOOKED_AT:]}
    while True:
        doubtful = doubtful_by(doubts.of(needed))
        whole = _together([_whole(classes, p, doubtful) for p in everybody(classes)])
        moved = [one.person.key for one in whole if any(m.direction for m in one.months)]
        more = {c.row.id for key in moved for c, _ in classes_of(classes, key)} - needed
        if not more:
            return whole, doubtful
        needed |= more


def _together(whole: Sequence[Whole]) -> list[Whole]:
    """Allow for all the trends that stand on the page beside each other."""
    felt = [one.felt for one in whole]
    some = told_together([m for one in whole for m in one.months], felt)
    harder = directions([*(m.trend for m in some), *felt])[len(some) :]
    told = iter(some)
    return [
        replace(one, months=[next(told) for _ in one.months], felt_harder=way == 1)
        for one, way in zip(whole, harder, strict=True)
    ]


def _weeks(
    classes: Sequence[PastClass], whole: Sequence[Whole], doubtful: Doubtful
) -> Iterable[GroupWeek]:
    monday, last = week_of(classes[0].day), week_of(classes[-1].day)
    came = {w.person.key for c in classes for w in c.people if w.there}
    while monday <= last:
        held = [c for c in classes if week_of(c.day) == monday]
        done = [(c, w, e) for c in held for w in c.people if w.there for e in w.exercises]
        ratings = [w.rating for c in held for w in c.people if w.there and w.rating is not None]
        own = [w for one in whole for w in one.weeks if w.first == monday and w.classes]
        yield GroupWeek(
            first=monday,
            classes=len(held),
            came=sum(w.there for c in held for w in c.people),
            never=sum(_may_have_come(w) for c in held for w in c.people),
            planned=sum(expected(c, classes, came) for c in held),
            made=sum(e.made for _, _, e in done),
            judged=sum(e.judged for _, _, e in done),
            in_doubt=sum(e.judged for c, w, e in done if doubtful(c, w, e)),
            rating=_middle(ratings),
            load=_middle(w.total for w in own),
            monotony=_middle(w.monotony for w in own),
            strain=_middle(w.strain for w in own),
        )
        monday += timedelta(days=WEEK)


def _may_have_come(who: Attended) -> bool:
    """Whether it is said who wore a bib, nobody said that they were absent, and none pressed."""
    return who.person.named and not who.there and not who.absent


def _middle(values: Iterable[float | None]) -> Middle | None:
    known = [v for v in values if v is not None]
    return Middle(median(known), len(known)) if known else None


def _person(one: Whole) -> GroupPerson:
    ratings = [rating for _, rating in one.ratings]
    loads = [w.total for w in one.weeks if w.classes and w.total is not None]
    return GroupPerson(
        name=one.person.name,
        attendance=one.attendance,
        made=sum(m.made for months in one.months for m in months.marks),
        judged=sum(m.judged for months in one.months for m in months.marks),
        in_doubt=sum(m.judged for months in one.months for m in months.marks if m.doubtful),
        rating=median(ratings) if ratings else None,
        weekly_load=median(loads) if loads else None,
        up=tuple(m.name for m in one.months if m.direction == 1),
        down=tuple(m.name for m in one.months if m.direction == -1),
        no_change=sum(m.direction == 0 for m in one.months),
        unclear=sum(m.direction is None for m in one.months),
    )


def _exercises(whole: Sequence[Whole]) -> Iterable[GroupExercise]:
    found: dict[str, list[Months]] = {}
    for one in whole:
        for months in one.months:
            found.setdefault(months.name, []).append(months)
    for name, some in found.items():
        counts = Counter(m.direction for m in some)
        yield GroupExercise(
            name=name,
            people=len(some),
            up=counts[1],
            down=counts[-1],
            no_change=counts[0],
            unclear=counts[None],
            made=sum(mark.made for m in some for mark in m.marks),
            judged=sum(mark.judged for m in some for mark in m.marks),
            in_doubt=sum(mark.judged for m in some for mark in m.marks if mark.doubtful),
        )
