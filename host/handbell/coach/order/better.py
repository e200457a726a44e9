"""Of the orders that keep every demand, one that people would choose.

Few exercises straight after one that tires the same muscles, and, with that, short ways between
stations. Common practice, no source. The search begins at an order that is known to do, so there is
always one; ``best`` says whether a better one was ruled out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise, permutations
from math import dist

from handbell.coach.library.remarks import RECOVERED_MS, shared_load
from handbell.coach.library.shelf import Library
from handbell.plan.model import Plan
from handbell.plan.pauses import change_ms

from .demands import WAITS, Demands, Schedule
from .kit import Shared, order_of
from .model import Rotation
from .schedule import longest_wait

Pair = tuple[int, int]
SECONDS = 10.0
ALIKE = 1_000_000  # of one pair that tires the same: more than all ways of a class, in decimetres


@dataclass(frozen=True)
class Better:
    """How a block is shared, how often what tires the same follows straight, and the way in m.

    ``walk_m`` is that of all groups in a round, None where the stations have no places.
    """

    shared: Shared
    alike: int
    walk_m: float | None
    best: bool


def better(plan: Plan, shared: Shared, library: Library, seconds: float = SECONDS) -> Better | None:
    """Return the best order found for a block that needs one; None where there's no choice."""
    found, block = shared.schedule, plan.blocks[shared.block]
    if found is None or shared.order is None or shared.order == block.order:
        return None
    alike, ways = _alike(plan, shared.block, library), _ways(plan, shared.block)
    costs = {pair: ALIKE * (pair in alike) + ways.get(pair, 0) for pair in {*alike, *ways}}
    best = True
    if _cost(shared.demands, found, costs):
        model = Rotation(shared.demands, found.steps)
        model.wait_at_most(max(map(longest_wait, found.places)))
        model.prefer(costs, found.places)
        answer, places = model.find(min(seconds, SECONDS))
        best = answer.found and answer.proved
        again = Schedule(places, found.shortest) if answer.found else found
        if _cost(shared.demands, again, costs) < _cost(shared.demands, found, costs):
            found = again
    return Better(
        replace(shared, schedule=found, order=order_of(plan, found)),
        sum(pair in alike for pair in _follows(shared.demands, found)),
        sum(ways.get(pair, 0) for pair in _follows(shared.demands, found)) / 10 if ways else None,
        best,
    )


def _alike(plan: Plan, block: int, library: Library) -> set[Pair]:
    """Return the exercises of a block that tire the same and follow before that is over."""
    here = plan.blocks[block]
    if here.rest_ms + change_ms(plan, here) >= RECOVERED_MS:
        return set()
    entries = [library.find(exercise.name) for exercise in here.exercises]
    return {
        (a, b)
        for (a, one), (b, other) in permutations(enumerate(entries), 2)
        if one and other and one is not other and shared_load(one, other)
    }


def _ways(plan: Plan, block: int) -> dict[Pair, int]:
    """Return how far it is from station to station, in decimetres; empty if that isn't said."""
    spots = [station.at for station in plan.stations]
    if not plan.is_rotation or not spots or None in spots:
        return {}
    count = range(len(plan.blocks[block].exercises))
    return {
        (a, b): round(10 * dist(spots[a] or (0, 0), spots[b] or (0, 0)))
        for a, b in permutations(count, 2)
    }


def _follows(demands: Demands, schedule: Schedule) -> Iterator[Pair]:
    for row in schedule.places:
        for first, second in (*pairwise(row), *([(row[-1], row[0])] * demands.repeats)):
            if WAITS not in (first, second):
                yield first, second


def _cost(demands: Demands, schedule: Schedule, costs: Mapping[Pair, int]) -> int:
    return sum(costs.get(pair, 0) for pair in _follows(demands, schedule))
