"""What never_after says to an order: which exercises of a block, and how it begins and ends."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from handbell.coach.library.apart import Apart
from handbell.coach.library.following import parts_blocks
from handbell.plan.model import Plan
from handbell.plan.pauses import steps_of

from .demands import WAITS, Demands, Schedule

Pair = tuple[int, int]
Row = Sequence[int]
Ends = tuple[frozenset[int], frozenset[int]]
NOTHING: frozenset[int] = frozenset()


def pairs_of(plan: Plan, block: int, bibs: Sequence[Sequence[int]]) -> list[frozenset[Pair]]:
    """Return for each group's bibs which exercises of a block they never do one after the other.

    Not in a relay, where the others have their legs between.
    """
    here, rules = plan.blocks[block], Apart(plan)
    if not rules.pairs or here.one_at_a_time:
        return [frozenset()] * len(bibs)
    ends: dict[str, list[int]] = {}
    begins: dict[str, list[int]] = {}
    for e, exercise in enumerate(here.exercises):
        for name in rules.ends_of(exercise):
            ends.setdefault(name, []).append(e)
        for name in rules.begins_of(exercise):
            begins.setdefault(name, []).append(e)
    pairs = {
        (a, b)
        for one, other in rules.pairs
        for a in ends.get(one, ())
        for b in begins.get(other, ())
        if a != b
    }
    return [
        frozenset(
            (a, b) for a, b in pairs if rules.between(here.exercises[a], here.exercises[b], some)
        )
        for some in bibs
    ]


def ends_of(
    plan: Plan, block: int, bibs: Sequence[Sequence[int]], before: Schedule | None
) -> list[Ends]:
    """Return for each group what a block should not begin with, and what it should not end with.

    ``before`` is the order of the block before it, None for the one that the plan has.
    """
    first = last = [NOTHING] * len(bibs)
    if block and _follows(plan, block - 1):
        rows = before.places if before else rows_of(plan, block - 1)
        first = [_ruled_out(plan, block, b, rows[g][-1], block - 1) for g, b in enumerate(bibs)]
    if block + 1 < len(plan.blocks) and _follows(plan, block):
        rows = rows_of(plan, block + 1)
        last = [_ruled_out(plan, block, b, rows[g][0], block + 1) for g, b in enumerate(bibs)]
    return list(zip(first, last, strict=True))


def with_ends(demands: Demands, ends: Mapping[int, Ends]) -> Demands:
    """Return demands with how some groups should begin and end."""
    groups = list(demands.groups)
    for g, (first, last) in ends.items():
        groups[g] = replace(groups[g], not_first=first, not_last=last)
    return replace(demands, groups=tuple(groups))


def rows_of(plan: Plan, block: int) -> list[Row]:
    """Return what each group does one after the other by the plan, a wait where it says no more."""
    here = plan.blocks[block]
    count = len(plan.groups) if plan.is_rotation else plan.boxes
    if here.order:
        return [[number - 1 for number in row] for row in here.order]
    steps, size = range(steps_of(plan, here)), len(here.exercises)
    if not plan.is_rotation:
        return [list(steps)] * count
    return [[(g + step) % size for step in steps] for g in range(count)]


def _follows(plan: Plan, block: int) -> bool:
    """Return whether a block is followed by the next before people have recovered."""
    both = plan.blocks[block : block + 2]
    heeded = not any(one.one_at_a_time for one in both)
    return heeded and bool(plan.never_after) and not parts_blocks(plan, block)


def _ruled_out(
    plan: Plan, block: int, bibs: Sequence[int], there: int, other: int
) -> frozenset[int]:
    """Return what a group may not begin a block with after what it does at the end of another.

    Or, where the other block comes after it, not end it with.
    """
    if there == WAITS:
        return NOTHING
    rules, beyond = Apart(plan), plan.blocks[other].exercises[there]
    found = set()
    for e, exercise in enumerate(plan.blocks[block].exercises):
        both = (exercise, beyond) if other > block else (beyond, exercise)
        if rules.between(*both, bibs):
            found.add(e)
    return frozenset(found)
