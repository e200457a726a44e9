"""Of the orders that keep every demand, one that people would choose.

Few exercises straight after one that tires the same muscles, and, with that, short ways between
stations. Common practice, no source. The search begins at an order that is known to do, so there is
always one; ``best`` says whether a better one was ruled out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import permutations
from math import dist

from handbell.coach.library.following import RECOVERED_MS, shared_load
from handbell.coach.library.shelf import Library
from handbell.plan.model import Plan
from handbell.plan.pauses import change_ms

from .demands import WAITS, Demands, Schedule
from .ends import rows_of
from .kit import Shared, breaking, order_of
from .model import Rotation
from .schedule import longest_of
from .tour import PROVED_MOST, tour
from .verify import broken

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
    """Return the best order found for a block that needs one, or whose way round can be shorter.

    An order that the plan says stays, and is told if there are ways; so does one near it. None
    where there's no choice.
    """
    found, block = shared.schedule, plan.blocks[shared.block]
    if found is None:
        return None
    demands = shared.demands
    b = shared.block
    wishes = Wishes(_alike(plan, b, library), _waits(plan, b), _ways(plan, b))
    if shared.order is None or shared.order == block.order:
        return _round(plan, shared, found, wishes) if wishes.ways else None
    best = not wishes.cost(demands, found)
    if wishes.cost(demands, found) and not _is_near(plan, b, found):
        model = Rotation(demands, found.steps)
        model.wait_at_most(longest_of(found.places))
        tiring = dict.fromkeys(wishes.alike, ALIKE)
        model.prefer(tiring, wishes.waits, wishes.ways, found.places)
        answer, places = model.find(min(seconds, SECONDS))
        best = answer.found and answer.proved
        again = Schedule(places, found.shortest) if answer.found else found
        if wishes.cost(demands, again) < wishes.cost(demands, found):
            found = again if _spares(plan, b, found, again) else found
    return Better(
        replace(shared, schedule=found, order=order_of(plan, found)),
        wishes.alike_in(demands, found),
        wishes.way_in(demands, found) / 10 if wishes.ways else None,
        best,
    )


def _spares(plan: Plan, block: int, now: Schedule, then: Schedule) -> bool:
    """Return whether in an order no more people break never_after than now."""
    before, after = (breaking(plan, block, order_of(plan, one)) for one in (now, then))
    return after <= before


def _is_near(plan: Plan, block: int, found: Schedule) -> bool:
    """Return whether an order was found near the one that the plan says, and stays so."""
    if not plan.blocks[block].order or not plan.is_rotation:
        return plan.blocks[block].order is not None
    said = {tuple(row) for row in rows_of(plan, block)}
    turns = {row[n:] + row[:n] for row in said for n in range(len(row))}
    return turns.issuperset(found.places)


def _round(plan: Plan, shared: Shared, found: Schedule, wishes: Wishes) -> Better:
    """Return a schedule as it is, or with a shorter way round where the plan says no order."""
    demands, count = shared.demands, len(shared.demands.stations)
    order, best = shared.order, False
    if order is None and len(found.places) == count:
        way = tour(wishes.ways, count)
        places = tuple(
            tuple(way[(way.index(g) + step) % count] for step in range(found.steps))
            for g in range(count)
        )
        again = Schedule(places, found.shortest)
        shorter = wishes.cost(demands, again) < wishes.cost(demands, found)
        if shorter and not broken(demands, again) and _spares(plan, shared.block, found, again):
            found, order = again, order_of(plan, again)
            best = count <= PROVED_MOST and not wishes.alike_in(demands, again)
    return Better(
        replace(shared, schedule=found, order=order),
        wishes.alike_in(demands, found),
        wishes.way_in(demands, found) / 10,
        best,
    )


@dataclass(frozen=True)
class Wishes:
    """What costs: ``alike`` pairs that tire the same, and how long the ``ways`` are.

    People walk however long they wait between; muscles have recovered after more than ``waits``.
    """

    alike: frozenset[Pair]
    waits: int
    ways: Mapping[Pair, int]

    def cost(self, demands: Demands, schedule: Schedule) -> int:
        """Return what a schedule costs in all."""
        return ALIKE * self.alike_in(demands, schedule) + self.way_in(demands, schedule)

    def alike_in(self, demands: Demands, schedule: Schedule) -> int:
        """Return how often something that tires the same follows too soon."""
        follows = _follows(demands, schedule, self.waits)
        return sum(pair in self.alike for pair in follows)

    def way_in(self, demands: Demands, schedule: Schedule) -> int:
        """Return the way of all groups in a round, in decimetres."""
        follows = _follows(demands, schedule, schedule.steps)
        return sum(self.ways.get(pair, 0) for pair in follows)


def _alike(plan: Plan, block: int, library: Library) -> frozenset[Pair]:
    """Return the exercises of a block that tire the same and follow before that is over."""
    here = plan.blocks[block]
    if here.rest_ms + change_ms(plan, here) >= RECOVERED_MS:
        return frozenset()
    entries = [library.find(exercise.name) for exercise in here.exercises]
    return frozenset(
        (a, b)
        for (a, one), (b, other) in permutations(enumerate(entries), 2)
        if one and other and one is not other and shared_load(one, other)
    )


def _waits(plan: Plan, block: int) -> int:
    """Return how many windows' waits are too few to recover in."""
    here = plan.blocks[block]
    pause_ms = here.rest_ms + change_ms(plan, here)
    window_ms = min(here.exercises[0].work.values) + pause_ms
    return max(0, -(-(RECOVERED_MS - pause_ms) // window_ms) - 1)


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


def _follows(demands: Demands, schedule: Schedule, waits_most: int) -> Iterator[Pair]:
    """Yield what each group does one after the other, with at most so many waits between."""
    for row in schedule.places:
        here: int | None = None
        waits = 0
        for place in (*row, *row[: row.index(_first(row)) + 1]) if demands.repeats else row:
            if place == WAITS:
                waits += 1
                continue
            if here is not None and waits <= waits_most:
                yield here, place
            here, waits = place, 0


def _first(row: tuple[int, ...]) -> int:
    return next((place for place in row if place != WAITS), row[0])
