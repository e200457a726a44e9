"""What a coach should know of the group first: the sentences, and who to talk to."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from handbell.base.words import few, listed, several
from handbell.report.talk import Talk
from handbell.report.words import percent_of

from .group_model import Away, GroupPerson, GroupWeek, ToTalk, Whole

AWAY_DAYS = 14
REGULAR_LEAST = 3  # classes, before it is worth a word that somebody stays away
MOST_NAMED = 4


def to_talk(last: Talk, whole: Sequence[Whole]) -> Iterable[ToTalk]:
    """Return people with a reason for a word, those with most reasons first.

    ``last`` is what the last class gives reason for.
    """
    asked = {p.name: [*p.asks, *p.odd] for p in last.people}
    found = []
    for one in whole:
        why = [*_going_down(one), *_harder_felt(one)]
        why += asked.get(one.person.name, [])
        if why:
            found.append(ToTalk(one.person.name, tuple(why)))
    return sorted(found, key=lambda talk: (-len(talk.why), talk.name.casefold()))


def away(whole: Sequence[Whole], today: date) -> Iterable[Away]:
    """Return those who came often and have not for AWAY_DAYS, the longest away first."""
    came = [(one.attendance, one.person.name) for one in whole]
    gone = [
        Away(name, there.last)
        for there, name in came
        if there.last is not None
        and there.came >= REGULAR_LEAST
        and (today - there.last).days >= AWAY_DAYS
    ]
    return sorted(gone, key=lambda one: (one.last, one.name.casefold()))


def _going_down(one: Whole) -> Iterable[str]:
    names = [m.name for m in one.months if m.direction == -1]
    if len(names) > MOST_NAMED:
        yield f"Going down in {len(names)} of {several(len(one.months), 'exercise')}."
    elif names:
        yield f"Going down in {listed(names)}."


def _harder_felt(one: Whole) -> Iterable[str]:
    """Classes that are rated higher and higher, whatever the reason."""
    if one.felt_harder:
        first, last = one.ratings[0][1], one.ratings[-1][1]
        yield f"Rates classes harder and harder: {first} at first, {last} lately."


def headline(
    weeks: Sequence[GroupWeek], people: Sequence[GroupPerson], talk: Sequence[ToTalk]
) -> list[str]:
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
        found.append(
            f"Targets, goals and holds met: {made} of {judged}, {percent_of(100 * made / judged)}."
        )
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
    if talk:
        found.append(f"Talk to {listed(few([one.name for one in talk], MOST_NAMED))}.")
    return found
