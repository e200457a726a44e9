"""One person's months in one exercise: what was asked, what was made, and where it goes."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from handbell.analysis.doubt.doubts import Doubtful, nothing_doubtful
from handbell.analysis.past.history import Attended, PastClass
from handbell.analysis.sums import HELD, PACE, PLACES, score_of
from handbell.analysis.trend import Trend, direction_of, directions, trend_of
from handbell.base.words import several
from handbell.coach.library.names import name_key
from handbell.report.words import asked_of
from handbell.store.results.sums import Asked, ExerciseSums, joined
from handbell_core import timeline as t

Key = tuple[str, int, bool]


@dataclass(frozen=True)
class Mark:
    """One class: ``made`` of ``judged`` rounds; ``score`` in the exercise's unit, None if unknown.

    ``bound`` is "at most" or "at least" where of some rounds no more is known. A trend rests on
    ``whole`` ones: every round was done as planned, and the data is not ``doubtful``.
    """

    class_id: int
    day: date
    asked: str
    judged: int
    made: int
    score: float | None
    bound: str
    doubtful: bool
    whole: bool


@dataclass(frozen=True)
class Months:
    """One exercise over the classes that had it, oldest first.

    ``trend`` is of the scores of ``alike``: the classes that asked for the same as the newest, so
    that a change of the plan is not taken for one of the person. ``direction`` is where it goes,
    allowing for the ``among`` trends that are told with it: 1 up, -1 down, 0 no clear change, None
    where a trend can't be told.
    """

    name: str
    unit: str
    marks: tuple[Mark, ...]
    alike: tuple[Mark, ...]
    trend: Trend
    direction: int | None = None
    among: int = 1

    @property
    def scored(self) -> list[Mark]:
        """The classes with a score."""
        return [m for m in self.marks if m.score is not None]


def months_of(
    history: Iterable[tuple[PastClass, Attended]], doubtful: Doubtful = nothing_doubtful
) -> list[Months]:
    """Return each exercise of somebody's classes (oldest first), the newest class's first."""
    found: dict[Key, list[tuple[PastClass, ExerciseSums, bool]]] = {}
    for past, who in history:
        for key, rounds in _by_exercise(who.exercises).items():
            doubt = any(doubtful(past, who, sums) for sums in rounds)
            found.setdefault(key, []).append((past, joined(rounds), doubt))
    made = [_months(classes) for classes in found.values()]
    return told_together(sorted(made, key=lambda p: p.marks[-1].day, reverse=True))


def told_together(some: Sequence[Months], others: Sequence[Trend] = ()) -> list[Months]:
    """Return months with the directions that hold for all that are told beside each other."""
    trends = [*(m.trend for m in some), *others]
    among = sum(trend.weekly is not None for trend in trends)
    ways = directions(trends)[: len(some)]
    return [replace(m, direction=way, among=among) for m, way in zip(some, ways, strict=True)]


def _by_exercise(exercises: Iterable[ExerciseSums]) -> dict[Key, list[ExerciseSums]]:
    found: dict[Key, list[ExerciseSums]] = {}
    for e in exercises:
        if e.tap not in (t.TAP_NONE, t.TAP_LEG):  # how many legs one has is up to the others, too
            found.setdefault((name_key(e.name), e.ask, e.both_sides), []).append(e)
    return found


def _months(classes: Sequence[tuple[PastClass, ExerciseSums, bool]]) -> Months:
    marks = tuple(_mark(past, sums, doubt) for past, sums, doubt in classes)
    last = classes[-1][1]
    unit = HELD if last.ask == t.ASK_HOLD else PACE
    return Months(last.name, unit, marks, *_trend(marks))


def _mark(past: PastClass, sums: ExerciseSums, doubtful: bool) -> Mark:
    whole = score_of(sums)
    part = round(sums.rate_sum / sums.rates, PLACES) if sums.rates else None
    return Mark(
        class_id=past.row.id,
        day=past.day,
        asked=_asked_words(sums.ask, sums.tap, sums.asked),
        judged=sums.judged,
        made=sums.made,
        score=part if whole is None else whole.value,
        bound="" if whole is None else whole.bound,
        doubtful=doubtful,
        whole=whole is not None and not doubtful,
    )


@functools.lru_cache(maxsize=4096)  # most classes ask for what those before them asked for
def _asked_words(ask: int, tap: int, asked: tuple[Asked, ...]) -> str:
    goals = [a.goal for a in asked]
    seconds = [round(a.length_ms / 1000) for a in asked]
    each = asked_of(ask, tap, goals[:1] if len(set(goals)) == 1 else goals)
    few = seconds[:1] if len(set(seconds)) == 1 else seconds
    return f"{each} in {'-'.join(map(str, few))} s"


def _trend(marks: Sequence[Mark]) -> tuple[tuple[Mark, ...], Trend]:
    alike = tuple(m for m in marks if m.asked == marks[-1].asked and m.whole)
    if sum(m.made == m.judged and m.bound != "" for m in alike) * 2 > len(alike):
        return alike, Trend(len(alike), None, None, "mostly kept to the end, so nobody can tell")
    if sum(m.made == 0 and m.bound != "" for m in alike if m.judged) * 2 > len(alike):
        return alike, Trend(len(alike), None, None, "mostly not made, so nobody can tell")
    days = [float(m.day.toordinal()) for m in alike]
    scores = [m.score for m in alike if m.score is not None]
    return alike, trend_of(days, scores, [m.bound != "" for m in alike])


def trend_words(months: Months) -> str:
    """Return where an exercise goes, with how sure that is, as a sentence without the name."""
    weekly, direction = months.trend.weekly, months.direction
    if weekly is None or direction is None:
        return f"No trend yet: {months.trend.why_not}."
    same = " that asked for the same" if len(months.alike) < len(months.marks) else ""
    over = f"over {several(weekly.count, 'class', 'classes')}{same}"
    if direction == 0 and direction_of(months.trend):
        return f"No clear change {over}: among {months.among} trends chance alone gives such a one."
    if direction == 0:
        span = f"{signed(weekly.low)} to {signed(weekly.high)}"
        return f"No clear change {over}: {span} {months.unit}, each week."
    change = f"{change_of(months)} %"
    low, high = sorted((abs(weekly.low), abs(weekly.high)))
    between = f"{few(low)} to {few(high)} {months.unit} each week"
    if direction > 0:
        return f"Up {change} {over}, gaining {between}."
    return f"Down {change} {over}, losing {between}."


def change_of(months: Months) -> str:
    """Return by how many percent it changed over the whole time, with what is not known of it."""
    change = f"{abs(months.trend.change_percent or 0.0):.0f}"
    return f"at least {change}" if months.trend.at_least else change


def few(value: float) -> str:
    """Return a number with two figures that count, none of them below a hundredth."""
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}" if value >= 1 else f"{value:.2f}"


def signed(value: float) -> str:
    """Return such a number with its sign."""
    return f"{'−' if value < 0 else '+'}{few(abs(value))}"
