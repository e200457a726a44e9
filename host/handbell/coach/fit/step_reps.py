"""How many reps are asked for one step easier or harder: whole taps, as the library has it."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import ceil, floor, lcm

from handbell.coach.library.entry import Entry
from handbell.plan.model import Exercise, PerRound
from handbell.plan.values import REPS_MOST

from .along import share_of

FEWER, MORE = Fraction(4, 5), Fraction(6, 5)  # where no exercise of the ladder will do
RANGE_MS = 30_000  # the library's reps are for windows of this length


def grown(
    said: PerRound,
    exercise: Exercise,
    work: PerRound,
    old: Entry | None,
    new: Entry | None,
) -> PerRound:
    """Return reps or a goal one step harder, for windows of another length and a new exercise.

    They stay whole taps and even where sides change; ``new`` is None where the exercise stays.
    """
    even = exercise.both_sides and not any(reps % 2 for reps in said.values)
    step = lcm(2 if even else 1, exercise.tap.every)
    became = []
    for n, reps in enumerate(said.values, 1):
        rounds = (n,) if said.listed else range(1, len(work.values) + 1)
        longer = min(Fraction(work.at(r), exercise.work.at(r)) for r in rounds)
        least_ms = min(work.at(r) for r in rounds)
        became.append(more(reps, least_ms, old, new, step, longer))
    return PerRound(tuple(became), said.listed)


def more(
    reps: int,
    work_ms: int,
    old: Entry | None,
    new: Entry | None,
    step: int,
    longer: Fraction | int,
) -> int:
    """Return reps for a harder exercise, or more of the same as far as the library goes."""
    if new is not None:
        share = share_of(old, new)
        return max(floor(reps * share * longer) // step, 1) * step
    most = REPS_MOST
    if old is not None and old.reps_30s is not None:
        most = old.reps_30s[1] * work_ms // RANGE_MS
    grown_to = -(-ceil(reps * MORE * longer) // step) * step
    return max(reps, min(grown_to, most // step * step))


def sensible(
    said: PerRound, to: PerRound, work: PerRound, done: Sequence[Entry], step: int
) -> PerRound:
    """Return reps no more than most people make of what is done, and as many on each side.

    Reps that stay are the coach's. ``step`` keeps them whole taps.
    """
    if any(entry.sides != "both" for entry in done):
        step = lcm(step, 2)
    became = []
    for n, (was, reps) in enumerate(zip(said.values, to.values, strict=True), 1):
        work_ms = work.at(n) if to.listed else min(work.values)
        most = [e.reps_30s[1] * work_ms // RANGE_MS for e in done if e.reps_30s]
        fewer = min([reps, *most])
        became.append(reps if fewer == was or fewer < step else fewer // step * step)
    return PerRound(tuple(became), to.listed)
