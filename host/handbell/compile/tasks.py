"""What a window asks for, in the numbers of the timeline's format."""

from __future__ import annotations

from handbell.plan.model import Exercise
from handbell_core import timeline as t

RULES = {
    "none": t.TAP_NONE,
    "each": t.TAP_EACH,
    "every": t.TAP_EVERY,
    "finish": t.TAP_FINISH,
    "tally": t.TAP_TALLY,
    "drop": t.TAP_DROP,
}


def asked(exercise: Exercise, round_: int) -> tuple[int, int]:
    """Return what a window asks for, and its target or goal in a round (0: none)."""
    if exercise.hold:
        return t.ASK_HOLD, 0
    if exercise.reps is not None:
        return t.ASK_TARGET, exercise.reps.at(round_)
    return t.ASK_OPEN, exercise.goal.at(round_) if exercise.goal is not None else 0
