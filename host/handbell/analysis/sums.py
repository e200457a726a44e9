"""One person's rounds of one exercise in one class, from their sums: what was asked, one score."""

from __future__ import annotations

from handbell.coach.library.names import name_key
from handbell.store.results.sums import ExerciseSums
from handbell_core import timeline as t

Task = tuple[object, ...]


def task_of(sums: ExerciseSums) -> Task:
    """Return what was asked; two classes can be held against each other only if it is the same."""
    asked = tuple((a.round, a.length_ms, a.goal) for a in sums.asked)
    return name_key(sums.name), sums.ask, sums.both_sides, asked


def score_of(sums: ExerciseSums) -> tuple[float, str] | None:
    """Return one number, and what it is; None where a round can't be judged or tells none.

    Seconds held, seconds to the target where all were made, else reps.
    """
    rounds = len(sums.asked)
    if sums.read < rounds:
        return None
    if sums.ask == t.ASK_HOLD:
        return sums.held_ms / 1000, "seconds held"
    if sums.ask == t.ASK_TARGET and sums.timed == rounds:
        lengths = sum(a.length_ms for a in sums.asked)
        return (lengths - sums.earned_rest_ms) / 1000, "time to the target"
    if sums.tap in (t.TAP_FINISH, t.TAP_LEG):  # how many legs one has is up to the others, too
        return None
    return float(sums.reps), "reps"
