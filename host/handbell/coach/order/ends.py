"""What never_after says to an order: which exercises of a block, and how it begins and ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from handbell.coach.library.apart import Apart
from handbell.coach.library.following import RECOVERED_MS, parts_blocks
from handbell.plan.model import Plan
from handbell.plan.pauses import Place, pauses_after, places, steps_of

from .demands import WAITS, Demands
from .model import Costs, Ends

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


def ends_of(plan: Plan, block: int, bibs: Sequence[Sequence[int]]) -> list[Ends]:
    """Return for each group how many break a rule by what it begins a block with, and ends it with.

    Each by the exercise, and by how many windows the group waits before it, or after it. As many
    windows as the plan's own order has, and the orders of its other blocks.
    """
    first = _costs(plan, block, block - 1, bibs)
    last = _costs(plan, block, block + 1, bibs)
    return list(zip(first, last, strict=True))


def break_it(ends: Sequence[Ends], rows: Sequence[Row]) -> int:
    """Return how many break a rule at the ends of a block in an order."""
    return sum(sum(_at_ends(both, row)) for both, row in zip(ends, rows, strict=True))


def with_ends(demands: Demands, ends: Sequence[Ends], rows: Sequence[Row]) -> Demands:
    """Return demands by which no group may begin or end worse than it does in an order."""
    groups = []
    for group, both, row in zip(demands.groups, ends, rows, strict=True):
        not_first, not_last = (
            frozenset(at for at, people in costs.items() if people > now)
            for costs, now in zip(both, _at_ends(both, row), strict=True)
        )
        groups.append(replace(group, not_first=not_first, not_last=not_last))
    return replace(demands, groups=tuple(groups))


def _at_ends(ends: Ends, row: Row) -> tuple[int, int]:
    """Return how many break a rule by what a group begins with, and by what it ends with."""
    first, last = ends
    return first.get(_end(row), 0), last.get(_end(row[::-1]), 0)


def _end(row: Row) -> tuple[int, int]:
    """Return what a row begins with, and how many waits come before it; WAITS if that is all."""
    return next(((there, n) for n, there in enumerate(row) if there != WAITS), (WAITS, 0))


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


def _costs(plan: Plan, block: int, other: int, bibs: Sequence[Sequence[int]]) -> list[Costs]:
    """Return how many of each group break a rule by what is at the end of a block next to another.

    None where they have recovered meanwhile: waits are rest.
    """
    if not 0 <= other < len(plan.blocks) or not _follows(plan, min(block, other)):
        return [{} for _ in bibs]
    is_last = other > block
    rules, here = Apart(plan), plan.blocks[block].exercises
    own_ms, others_ms = _rests(plan, block, is_last), _rests(plan, other, not is_last)
    found: list[Costs] = []
    for row, some in zip(rows_of(plan, other), bibs, strict=True):
        there, waits = _end(row if is_last else row[::-1])
        costs: dict[tuple[int, int], int] = {}
        for e, exercise in enumerate(here if there != WAITS else ()):
            beyond = plan.blocks[other].exercises[there]
            both = (exercise, beyond) if is_last else (beyond, exercise)
            people = {bib for who in rules.between(*both, some).values() for bib in who}
            for n, rest_ms in enumerate(own_ms):
                if people and rest_ms + others_ms[waits] < RECOVERED_MS:
                    costs[e, n] = len(people)
        found.append(costs)
    return found


def _rests(plan: Plan, block: int, is_last: bool) -> list[int]:
    """Return how long the rest is at an end of a block by the windows waited there, in ms.

    With ``is_last`` it goes on up to the next block.
    """
    here = plan.blocks[block]
    waited = len(rows_of(plan, block)[0]) if plan.is_rotation else 1
    a_step = here.rounds if plan.move == "round" else 1
    all_places = list(places(plan, here))
    if is_last:
        all_places.reverse()
    found = []
    for n in range(waited):
        rest_ms = sum(
            here.exercises[0].work.at(place.round) + _pause_ms(plan, block, place)
            for place in all_places[: n * a_step]
        )
        last_ms = _pause_ms(plan, block, all_places[n * a_step]) if is_last else 0
        found.append(rest_ms + last_ms)
    return found


def _pause_ms(plan: Plan, block: int, place: Place) -> int:
    return sum(pause.duration_ms for pause in pauses_after(plan, block, place))
