"""What a window asks for, in the numbers of the timeline's format."""

from __future__ import annotations

from typing import NamedTuple

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


class Task(NamedTuple):
    """What is asked, how people tap, the target or goal (0: none), and what it is called."""

    ask: int
    tap: int
    every: int
    goal: int
    name: str


def task_of(exercise: Exercise, round_: int) -> Task:
    """Return what an exercise asks for in a round."""
    ask, goal = asked(exercise, round_)
    tap = exercise.tap
    return Task(ask, RULES[tap.rule], tap.every, goal, exercise.name)


def asked(exercise: Exercise, round_: int) -> tuple[int, int]:
    """Return what a window asks for, and its target or goal in a round (0: none)."""
    if exercise.is_left_out:
        return t.ASK_NONE, 0
    if exercise.hold:
        return t.ASK_HOLD, 0
    if exercise.reps is not None:
        return t.ASK_TARGET, exercise.reps.at(round_)
    return t.ASK_OPEN, exercise.goal.at(round_) if exercise.goal is not None else 0
