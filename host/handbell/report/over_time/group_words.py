"""What a coach should know of the group first: the sentences, and what gives reason to talk."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from handbell.analysis.lately import Sort
from handbell.base.times import day_of
from handbell.base.words import few, listed, several
from handbell.report.words import percent_of

from .group_model import GroupPerson, GroupWeek, Whole

AWAY_DAYS = 14
REGULAR_LEAST = 3  # classes, before it is worth a word that somebody stays away
MOST_NAMED = 4


def over_time(whole: Sequence[Whole], today: date) -> dict[str, dict[Sort, str]]:
    """Return, by a person's key, what many classes give reason to talk about."""
    return {
        one.person.key: {
            sort: why
            for sort, why in (
                (Sort.DECLINES, _going_down(one)),
                (Sort.HARDER, _harder_felt(one)),
                (Sort.AWAY, _away(one, today)),
            )
            if why
        }
        for one in whole
    }


def _away(one: Whole, today: date) -> str:
    """Return since when somebody who came often has not, for AWAY_DAYS or more."""
    last = one.attendance.last
    if last is None or one.attendance.came < REGULAR_LEAST or (today - last).days < AWAY_DAYS:
        return ""
    return f"not seen since {day_of(last, today)}"


def _going_down(one: Whole) -> str:
    names = [m.name for m in one.months if m.direction == -1]
    if len(names) > MOST_NAMED:
        return f"in {len(names)} of {several(len(one.months), 'exercise')}"
    return f"in {listed(names)}" if names else ""


def _harder_felt(one: Whole) -> str:
    """Classes that are rated higher and higher, whatever the reason."""
    if not one.felt_harder:
        return ""
    return f"{one.ratings[0][1]} at first, {one.ratings[-1][1]} lately"


def doubt_of(some: Iterable[GroupWeek]) -> str:
    """Return how many windows of some weeks are in doubt, "" for none."""
    count = sum(w.in_doubt for w in some)
    return f"; {count} of them in doubt" if count else ""


def headline(weeks: Sequence[GroupWeek], people: Sequence[GroupPerson]) -> list[str]:
    """Return the sentences at the top, the most useful first."""
    came, planned = sum(w.came for w in weeks), sum(w.planned for w in weeks)
    made, judged = sum(w.made for w in weeks), sum(w.judged for w in weeks)
    share = percent_of(100 * came / planned) if planned else ""
    found = [
        f"{several(len(people), 'person', 'people')}; they came {came} of {planned} times, {share}."
    ]
    never = sum(w.never for w in weeks)
    if never:
        times = several(never, "time")
        found[0] += f" {times} nobody was called absent, but no button pressed: did they come?"
    if judged:
        share = percent_of(100 * made / judged)
        found.append(f"Targets, goals and holds met: {made} of {judged}, {share}{doubt_of(weeks)}.")
    for words, moved in (
        ("Going up", [(p.name, len(p.up)) for p in people if len(p.up) > len(p.down)]),
        ("Going down", [(p.name, len(p.down)) for p in people if len(p.down) > len(p.up)]),
    ):
        moved.sort(key=lambda one: -one[1])
        said = [f"{name} (in {count})" for name, count in moved]
        if said:
            found.append(f"{words}: {listed(few(said, MOST_NAMED))}.")
    ratings = [w.rating for w in weeks if w.rating is not None]
    if ratings:
        first, last = ratings[0].median, ratings[-1].median
        found.append(
            f"How hard it was: {first:.1f} of 10 in the first week, {last:.1f} in the last."
        )
    return found
