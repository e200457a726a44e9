"""Which exercise a leg of a relay is, and how many turns a block takes at the buttons.

A leg is done by one person of each group: by the next one, for as long as the relay goes on. A
group goes through the exercises in their order. With two people and two exercises one person would
always do the first and the other the second. So where the two numbers have a common divisor, the
group leaves out one exercise whenever people and exercises begin again together.
"""

from __future__ import annotations

from math import gcd, lcm
from typing import TYPE_CHECKING

from handbell.plan.model import times_of
from handbell.plan.pauses import steps_of

if TYPE_CHECKING:
    from handbell.plan.model import Block, Plan


def exercise_of(leg: int, people: int, exercises: int) -> int:
    """Return which exercise a group of so many people does in a leg, both from 0.

    In each ``people * exercises`` legs from a multiple of it on, and so from leg 0 on, everybody
    gets to every exercise once, whoever does the first leg.
    """
    return (leg + leg // lcm(people, exercises) % gcd(people, exercises)) % exercises


def moves_on(plan: Plan, block: Block) -> bool:
    """Return whether groups do a relay's exercises as ``exercise_of`` says, else in one order.

    All boxes change together, so the exercises must last as long as one another. An ``order`` that
    the plan says comes first.
    """
    if not block.relay or block.order or len(block.exercises) == 1:
        return False
    return len(set(times_of(block))) == 1


def turns_in(plan: Plan, block: Block) -> int:
    """Return how many turns further on the block after this one begins."""
    if block.relay:
        return block.rounds * steps_of(plan, block)  # each leg is somebody's turn
    if plan.is_rotation and plan.move == "round":
        return steps_of(plan, block)
    return block.rounds
