"""What a class comes to: each exercise across its rounds, and each person over the whole."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from handbell.store.results.effort import BROKEN, LOST, Effort, Outcome
from handbell_core import timeline as t

from .attendance import left_early, never_pressed
from .fade import Fade, fade_of, is_marked

Doubtful = Callable[[Effort], bool]  # whether an effort's numbers are in doubt


def nothing_doubtful(effort: Effort) -> bool:
    """Take all numbers for what they look like."""
    return False


@dataclass(frozen=True)
class Series:
    """One bib's rounds of one exercise of one block, in order."""

    bib: int
    block: int
    item: int
    name: str
    efforts: tuple[Effort, ...]
    fade: Fade


@dataclass(frozen=True)
class Exercise:
    """One exercise of one block, with everybody's series."""

    block: int
    item: int
    name: str
    ask: int
    tap: int
    goals: tuple[int, ...]  # by round; one number if they are all the same
    series: tuple[Series, ...]


@dataclass(frozen=True)
class Person:
    """One bib over the whole class. ``targets`` counts only windows that can be judged.

    Of ``unknown`` targets a log tells nothing, or not all; ``broken`` ones were paused, cut short
    or stopped.
    ``sure_holds`` and ``sure_goals`` are those of them that are in no doubt.
    ``doubtful_in`` are the exercises with numbers in doubt; ``all_doubtful`` says that no number is
    without. ``sure_targets`` are those of ``targets`` that are in no doubt; ``sure_rest_ms`` was
    earned in them. ``set_aside``: the coach set aside all that was pressed. Nothing counts as kept
    or missed of who ``never_pressed``; ``left_after_ms`` is the ``class_ms`` after which somebody
    may have gone, None for who stayed.
    """

    bib: int
    who: str
    targets: int
    targets_made: int
    sure_targets: int
    sure_targets_made: int
    sure_rest_ms: int
    unknown: int
    broken: int
    earned_rest_ms: int
    reps: int
    holds: int
    holds_kept: int
    sure_holds: int
    sure_holds_kept: int
    sure_goals: int
    sure_goals_made: int
    rating: int | None
    most_faded: Series | None
    pressed: bool
    set_aside: bool
    never_pressed: bool
    left_after_ms: int | None
    doubtful_in: tuple[str, ...]
    all_doubtful: bool


def never_tapped(efforts: Sequence[Effort], people: Sequence[Person]) -> list[int]:
    """Return the bibs that nobody may have worn: no press in a whole log, where others pressed.

    Of whom the coach left out all windows, nothing is known.
    """
    lost = {e.bib for e in efforts if e.outcome in LOST}
    never = [p.bib for p in people if p.never_pressed and p.bib not in lost]
    return never if len(never) < len(people) else []


def _all_set_aside(own: Sequence[Effort]) -> bool:
    """Whether the coach set aside all that somebody pressed, so that nothing is left to tell."""
    pressed = [e for e in own if e.pressed]
    return bool(pressed) and all(e.outcome is Outcome.SET_ASIDE for e in pressed)


def exercises_of(
    efforts: Sequence[Effort], doubtful: Doubtful = nothing_doubtful
) -> list[Exercise]:
    """Gather efforts by exercise, in the order of the plan.

    Who was asked for something else in it, a hold in place of reps, stands apart.
    """
    found: dict[tuple[int, int, str, int], dict[int, list[Effort]]] = {}
    for effort in sorted(efforts, key=lambda e: (e.block, e.item, e.start_ms)):
        key = effort.block, effort.item, effort.name, effort.ask
        found.setdefault(key, {}).setdefault(effort.bib, []).append(effort)
    exercises = []
    for (block, item, name, _), by_bib in found.items():
        series = tuple(
            Series(
                bib, block, item, name, tuple(rounds), fade_of(rounds, any(map(doubtful, rounds)))
            )
            for bib, rounds in sorted(by_bib.items())
        )
        any_one = series[0].efforts[0]
        goals = _goals(series)
        exercises.append(Exercise(block, item, name, any_one.ask, any_one.tap, goals, series))
    return exercises


def _goals(series: Sequence[Series]) -> tuple[int, ...]:
    by_round = {e.round: e.goal for s in series for e in s.efforts}
    goals = [by_round[r] for r in sorted(by_round)]
    return tuple(goals[:1] if len(set(goals)) == 1 else goals)


def people_of(
    efforts: Sequence[Effort],
    exercises: Sequence[Exercise],
    ratings: Mapping[int, int],
    doubtful: Doubtful = nothing_doubtful,
) -> list[Person]:
    """Add up each bib that has efforts, in the order of bibs."""
    end_ms = max((e.end_ms for e in efforts), default=0)
    by_bib: dict[int, list[Effort]] = {}
    for effort in efforts:
        by_bib.setdefault(effort.bib, []).append(effort)
    return [
        _person(own, exercises, ratings.get(bib), doubtful, end_ms)
        for bib, own in sorted(by_bib.items())
    ]


def _person(
    every: list[Effort],
    exercises: Sequence[Exercise],
    rating: int | None,
    doubtful: Doubtful,
    end_ms: int,
) -> Person:
    never = never_pressed(every, rating)
    own = [] if never else every
    targets = [e for e in own if e.ask == t.ASK_TARGET and e.made is not None]
    sure = [e for e in targets if not doubtful(e)]
    counted = [e for e in own if e.outcome is not Outcome.NOT_ASKED]
    in_doubt = [e for e in counted if doubtful(e)]
    holds = [e for e in own if e.ask == t.ASK_HOLD and e.made is not None]
    sure_holds = [e for e in holds if not doubtful(e)]
    sure_goals = [e for e in own if e.ask == t.ASK_OPEN and e.made is not None and not doubtful(e)]
    faded = [
        s
        for exercise in exercises
        for s in exercise.series
        if s.bib == every[0].bib and is_marked(s.fade, s.efforts)
    ]
    return Person(
        bib=every[0].bib,
        who=every[0].who,
        targets=len(targets),
        targets_made=sum(bool(e.made) for e in targets),
        sure_targets=len(sure),
        sure_targets_made=sum(bool(e.made) for e in sure),
        sure_rest_ms=sum(e.earned_rest_ms or 0 for e in sure),
        unknown=sum(e.ask == t.ASK_TARGET and e.outcome in LOST for e in every),
        broken=sum(e.ask == t.ASK_TARGET and e.outcome in BROKEN for e in own),
        earned_rest_ms=sum(e.earned_rest_ms or 0 for e in targets),
        reps=sum(
            e.reps or 0 for e in own if e.outcome is not Outcome.SKIPPED and e.tap != t.TAP_LEG
        ),
        holds=len(holds),
        holds_kept=sum(bool(e.made) for e in holds),
        sure_holds=len(sure_holds),
        sure_holds_kept=sum(bool(e.made) for e in sure_holds),
        sure_goals=len(sure_goals),
        sure_goals_made=sum(bool(e.made) for e in sure_goals),
        rating=rating,
        most_faded=max(faded, key=lambda s: s.fade.percent or 0.0, default=None),
        pressed=any(e.pressed for e in own) or rating is not None,
        set_aside=_all_set_aside(own),
        never_pressed=never,
        left_after_ms=left_early(own, rating, end_ms),
        doubtful_in=tuple(dict.fromkeys(e.name for e in in_doubt)),
        all_doubtful=bool(in_doubt) and len(in_doubt) == len(counted),
    )
