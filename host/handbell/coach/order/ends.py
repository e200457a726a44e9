"""What never_after says to an order: which exercises of a block, and how it begins and ends."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from handbell.coach.library.apart import Apart
from handbell.coach.library.following import parts_blocks
from handbell.plan.model import Plan
from handbell.plan.pauses import steps_of

from .demands import WAITS, Demands, Schedule

Pair = tuple[int, int]
Row = Sequence[int]


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


def with_ends(
    plan: Plan,
    demands: Demands,
    block: int,
    bibs: Sequence[Sequence[int]],
    before: Schedule | None,
) -> Iterator[Demands]:
    """Yield demands with how the block should begin and end; what matters less is left out later.

    ``before`` is the order of the block before it, None for the one that the plan has.
    """
    count = len(demands.groups)
    first: list[frozenset[int]] = [frozenset()] * count
    last = list(first)
    if block and _follows(plan, block - 1):
        rows = before.places if before else rows_of(plan, block - 1)
        first = [_ruled_out(plan, block, bibs[g], rows[g][-1], block - 1) for g in range(count)]
    if block + 1 < len(plan.blocks) and _follows(plan, block):
        rows = rows_of(plan, block + 1)
        last = [_ruled_out(plan, block, bibs[g], rows[g][0], block + 1) for g in range(count)]
    none: list[frozenset[int]] = [frozenset()] * count
    tried = [(first, last), (first, none), (none, last)]
    for begin, end in (ends for n, ends in enumerate(tried) if ends not in tried[:n]):
        if any(begin) or any(end):
            groups = (
                replace(group, not_first=begin[g], not_last=end[g])
                for g, group in enumerate(demands.groups)
            )
            yield replace(demands, groups=tuple(groups))


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
        return frozenset()
    rules, beyond = Apart(plan), plan.blocks[other].exercises[there]
    found = set()
    for e, exercise in enumerate(plan.blocks[block].exercises):
        both = (exercise, beyond) if other > block else (beyond, exercise)
        if rules.between(*both, bibs):
            found.add(e)
    return frozenset(found)
