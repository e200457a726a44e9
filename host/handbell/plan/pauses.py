"""What follows a window: the order of a block's windows, and the pauses between them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from handbell_core.timeline import BREAK, CHANGE, GATE, REST

if TYPE_CHECKING:
    from handbell.plan.model import Block, Plan


class Place(NamedTuple):
    """Where a window stands in its block.

    ``step`` is the exercise in lanes, and how often the groups have moved in a rotation, from 0;
    ``ends_round`` at the end of a round, or of a turn at a station when people move by rounds.
    """

    round: int
    step: int
    ends_round: bool
    ends_block: bool


class Pause(NamedTuple):
    """A pause's kind and length."""

    kind: int
    duration_ms: int


def steps_of(plan: Plan, block: Block) -> int:
    """Return how many windows a round of a block has; in a rotation, how often groups move."""
    if plan.is_rotation and block.order:
        return len(block.order[0])
    return len(block.exercises)


def places(plan: Plan, block: Block) -> Iterator[Place]:
    """Yield the places of a block's windows in their order."""
    rounds, steps = block.rounds, steps_of(plan, block)
    if plan.is_rotation and plan.move == "round":
        for step in range(steps):
            for round_ in range(1, rounds + 1):
                ends = round_ == rounds
                yield Place(round_, step, ends, ends and step == steps - 1)
    else:
        for round_ in range(1, rounds + 1):
            for step in range(steps):
                ends = step == steps - 1
                yield Place(round_, step, ends, ends and round_ == rounds)


def change_ms(plan: Plan, block: Block) -> int:
    """Return how long it takes to get to another exercise of a block."""
    return plan.change_ms if block.change_ms is None else block.change_ms


def pauses_after(plan: Plan, block_index: int, place: Place) -> list[Pause]:
    """Return what follows a window, up to the next one or the cool-down."""
    block = plan.blocks[block_index]
    pauses = [Pause(REST, rest_ms(plan, block, place))]
    if not place.ends_block:
        if _people_change(plan, block, place):
            pauses.append(Pause(CHANGE, change_ms(plan, block)))
    elif block_index + 1 < len(plan.blocks):
        pauses += _between(plan, block, plan.blocks[block_index + 1])
    return [p for p in pauses if p.duration_ms or p.kind == GATE]


def rest_ms(plan: Plan, block: Block, place: Place) -> int:
    """Return the rest after a window; the trailing one is as long as if another round followed."""
    if place.ends_block and not block.rest_after_last:
        return 0
    if place.ends_round and block.round_rest_ms is not None:
        return block.round_rest_ms
    exercise = block.exercises[0 if plan.is_rotation else place.step]
    return block.rest_ms if exercise.rest_ms is None else exercise.rest_ms


def _people_change(plan: Plan, block: Block, place: Place) -> bool:
    if steps_of(plan, block) == 1:
        return False
    return place.ends_round or not (plan.is_rotation and plan.move == "round")


def _between(plan: Plan, block: Block, coming: Block) -> list[Pause]:
    pauses = [Pause(BREAK, plan.break_after_ms(block))]
    if coming.gate:
        pauses.append(Pause(GATE, 0))
    elif not pauses[0].duration_ms:
        pauses.append(Pause(CHANGE, change_ms(plan, coming)))
    return pauses
