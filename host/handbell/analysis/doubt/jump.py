"""A jump from somebody's own history that the others did not make: who wore the bib?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log
from statistics import median

from handbell.base.robust import spread

from .paces import Beside, day_of_others

# Our own, no source: nobody gains or loses so much in everything within a week, against the others.
EXERCISES_LEAST = 3
JUMP = log(1.4)
SPREADS = 5.0  # of the own classes, so that those who differ from week to week don't seem to jump
SPREAD_LEAST = 0.04
SAME_WAY = 0.8  # of the exercises, or of the people
GROUP_LEAST = 4  # people
GROUP_DAY = log(1.15)


@dataclass(frozen=True)
class Jump:
    """A bib whose numbers left their own history, beyond what the day did to the others."""

    bib: int
    ratio: float
    evidence: str


def other_wearers(some: Sequence[Beside]) -> list[Jump]:
    """Return who jumped, of all in a class beside their own last ones."""
    found = []
    for one in some:
        day = day_of_others(some, one)
        off = [one.now[task] - one.usual[task] - day for task in one.now]
        middle = median(off)
        same_way = sum((value > 0) == (middle > 0) for value in off)
        if len(off) < EXERCISES_LEAST or same_way < SAME_WAY * len(off) or abs(middle) < JUMP:
            continue
        if abs(middle) >= SPREADS * max(spread(one.before), SPREAD_LEAST):
            others = ", against the others today" if day else ""
            words = (
                f"in {len(off)} exercises the pace is {exp(middle):.2f} times the own median of "
                f"the last {len(one.before)} classes{others}; was the bib worn by somebody else?"
            )
            found.append(Jump(one.who.bib, exp(middle), words))
    return found


def group_day(some: Sequence[Beside]) -> str:
    """Return in words that nearly all were quicker or slower than usual, "" if they weren't."""
    if len(some) < GROUP_LEAST:
        return ""
    middles = [one.middle for one in some]
    day = median(middles)
    same_way = sum(value * day > 0 and abs(value) > GROUP_DAY / 2 for value in middles)
    if abs(day) < GROUP_DAY or same_way < SAME_WAY * len(some):
        return ""
    return (
        f"{same_way} of {len(some)} people were {'quicker' if day > 0 else 'slower'} than usual, "
        f"by {100 * abs(exp(day) - 1):.0f} % in the middle: each is held against the others today"
    )
