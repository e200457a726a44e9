"""One person's rounds of one exercise in one class, from their sums: what was asked, one score."""

from __future__ import annotations

from dataclasses import dataclass

from handbell.coach.library.names import name_key
from handbell.store.results.effort import MINUTE_MS
from handbell.store.results.sums import ExerciseSums
from handbell_core import timeline as t

Task = tuple[object, ...]

PACE, HELD = "reps a minute", "seconds held"
PLACES = 9  # so that the order of adding up, which no database promises, tells no two apart


@dataclass(frozen=True)
class Score:
    """The mean of somebody's rounds, in ``unit``, each as far as its window shows it.

    A target that one tap ends and that did not come counts as the whole window, a position kept to
    its end as so long: with none of them left out, since those left would be the good ones.
    ``bound`` says "at most" or "at least" where there is such a round, else "".
    """

    value: float
    unit: str
    bound: str


def task_of(sums: ExerciseSums) -> Task:
    """Return what was asked; two classes can be held against each other only if it is the same."""
    asked = tuple((a.round, a.length_ms, a.goal) for a in sums.asked)
    return name_key(sums.name), sums.ask, sums.both_sides, asked


def score_of(sums: ExerciseSums) -> Score | None:
    """Return the score of a whole set; None where a round can't be judged or tells none."""
    rounds = len(sums.asked)
    if sums.tap in (t.TAP_NONE, t.TAP_LEG):  # how many legs one has is up to the others, too
        return None
    if sums.read < rounds:
        return None
    if sums.ask == t.ASK_HOLD:
        held = round(sums.held_ms / 1000 / rounds, PLACES)
        return Score(held, HELD, "at least" if sums.made else "")
    if sums.ask == t.ASK_TARGET and 0 < sums.timed < sums.made:
        return None  # a coach said that one was made, and nobody knows when
    if sums.tap != t.TAP_FINISH:
        return Score(round(sums.rate_sum / rounds, PLACES), PACE, "")
    missed = rounds - sums.timed
    slowest = min((a.goal * MINUTE_MS / a.length_ms for a in sums.asked), default=0.0)
    pace = round((sums.rate_sum + missed * slowest) / rounds, PLACES)
    return Score(pace, PACE, "at most" if missed else "")
