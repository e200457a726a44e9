"""Sharing kit and stations in a plan: the order of exercises for each lane, or group, of a block.

    orders(plan) -> a Shared for each block -> the block's ``order``, None where it needs none

In lanes every box has all windows at the same instants, so a lane may do the block's exercises in
another order where their times agree. In a rotation groups go from station to station.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import inf

from handbell.base.errors import PlanError
from handbell.coach.library.apart import breaches
from handbell.coach.writing.edit import Change
from handbell.compile.schedule import Schedule as Resolved
from handbell.compile.schedule import resolve
from handbell.plan.model import Block, Exercise, Plan, does, for_bib, times_of
from handbell.plan.model import Group as PlanGroup

from .demands import WAITS, Clash, Demands, Group, Need, Schedule, Station, UndecidedError
from .ends import Pair, break_it, ends_of, pairs_of, rows_of, with_ends
from .near import lane_orders, spare_groups, spare_lanes
from .schedule import solve
from .verify import broken

Order = tuple[tuple[int, ...], ...]

SECONDS = 20.0
END_SECONDS = 5.0  # for an order that begins and ends as it should


@dataclass(frozen=True)
class Shared:
    """How a block (from 0) is shared: ``order`` as the plan writes it, None when it needs none.

    With a ``clash`` there is no order; ``enough`` says of which kit how many would do, together.
    """

    block: int
    demands: Demands
    schedule: Schedule | None
    order: Order | None
    clash: Clash | None = None
    enough: tuple[tuple[str, int], ...] = ()


def share(plan: Plan, block: int, seconds: float = SECONDS) -> Shared:
    """Return how one block, from 0, is shared; an order that keeps all demands stays.

    Where an order of as many steps begins and ends so that fewer people break never_after, that one
    is taken. The other blocks are as the plan has them.
    """
    demands, here = demands_of(plan, block), plan.blocks[block]
    own = tuple(map(tuple, rows_of(plan, block)))
    found: Schedule | Clash = (planned := Schedule(own, shortest=False))
    kept = here.order and not broken(demands, planned)
    if not kept:
        found = solve(demands, seconds) if plan.is_rotation else lane_orders(demands, seconds, own)
    if isinstance(found, Clash):
        return Shared(block, demands, None, None, found, _enough(demands, found))
    now = _with_order(plan, block, order_of(plan, found))
    ends = ends_of(now, block, [some for _, some, _ in _who(plan)])
    if now_break := break_it(ends, found.places):
        end_seconds = min(seconds, END_SECONDS)
        if plan.is_rotation:
            places = spare_groups(demands, ends, found.places, end_seconds)
        else:
            places = spare_lanes(demands, ends, own, end_seconds)
        if places and break_it(ends, places) < now_break:
            found = Schedule(places, found.shortest)
    order = here.order if kept and found.places == own else order_of(plan, found)
    stays = order == here.order or broken(replace(demands, never_after=()), planned)
    if not stays and breaking(plan, block, order) >= breaking(plan, block, here.order):
        found, order = planned, here.order
    return Shared(block, with_ends(demands, ends, found.places), found, order)


def orders(plan: Plan, arrange: Callable[[Plan, int], Shared] = share) -> list[Shared]:
    """Return how each block is shared; ``arrange`` does it for one, the others as found so far.

    All once more where people still break never_after: what a block ends with may be mended by
    what the one after it has come to begin with. Raises UndecidedError, SolverMissingError.
    """
    found: dict[int, Shared] = {}
    was, blocks = plan, range(len(plan.blocks))
    for b in (*blocks, *blocks):
        if b in found and (plan == was or any(shared.clash for shared in found.values())):
            break
        if b in found and not breaking(plan, b, plan.blocks[b].order)[0]:
            break
        shared = arrange(plan, b)
        if b not in found or shared.order != found[b].order:
            found[b] = shared
        if shared.clash is None:
            plan = _with_order(plan, b, shared.order)
    return list(found.values())


def breaking(plan: Plan, block: int, order: Order | None) -> tuple[float, float]:
    """Return how many break never_after, in all and within blocks, where a block has an order.

    Who leaves an exercise out does the next one after the one before, which no demand knows. While
    another block still needs its order, only this block and the one before it count; infinitely
    many where this one does.
    """
    blocks = _with_order(plan, block, order).blocks
    for some in (blocks, blocks[max(0, block - 1) : block + 1]):
        try:
            found = breaches(resolve(plan.model_copy(update={"blocks": some})))
        except PlanError:
            continue
        inside = (breach for breach in found if breach.first[0] == breach.second[0])
        return sum(len(breach.bibs) for breach in found), sum(len(b.bibs) for b in inside)
    return inf, inf


def _with_order(plan: Plan, block: int, order: Order | None) -> Plan:
    blocks = list(plan.blocks)
    blocks[block] = blocks[block].model_copy(update={"order": order})
    return plan.model_copy(update={"blocks": tuple(blocks)})


def changes(plan: Plan, shared: Sequence[Shared]) -> list[Change]:
    """Return what a plan's file must say so that its blocks have their orders."""
    return [
        Change(("block", s.block), {"order": [list(row) for row in s.order] if s.order else None})
        for s in shared
        if s.clash is None and s.order != plan.blocks[s.block].order
    ]


def faults(resolved: Resolved) -> list[tuple[int, str]]:
    """Return what a class breaks of its plan's demands: the block, from 0, and a sentence.

    All but never_after, which ``coach.library.apart`` looks at from window to window. A relay whose
    legs move on begins with all lanes at the same exercise, leg after leg, which takes the most kit
    that they ever take; so its first round stands for all.
    """
    found = []
    for b, walks in enumerate(resolved.walks):
        block = resolved.plan.blocks[b]
        count = len(block.exercises) if block.relay else len(walks)
        steps = ([post.number if post else WAITS for post in step] for step in walks[:count])
        now = Schedule(tuple(zip(*steps, strict=True)), shortest=False)
        demands = replace(demands_of(resolved.plan, b), never_after=())
        found += [(b, fault) for fault in broken(demands, now)]
    return found


def demands_of(plan: Plan, block: int) -> Demands:
    """Return what a block, from 0, demands of its groups or lanes."""
    groups = {group.name: g for g, group in enumerate(plan.groups)}
    lanes = _lanes(plan, plan.blocks[block])
    apart = pairs_of(plan, block, [bibs for _, bibs, _ in _who(plan)])
    pairs = frozenset[Pair]().union(*apart)
    lanes = [replace(lane, may=pairs - own) for lane, own in zip(lanes, apart, strict=True)]
    return Demands(
        tuple(lanes),
        tuple(_stations(plan, plan.blocks[block])),
        dict(plan.kit),
        tuple(sorted(pairs)),
        tuple((groups[first], groups[second]) for first, second in plan.alternate),
        repeats=plan.blocks[block].rounds > 1 and not (plan.is_rotation and plan.move == "round"),
        noun="station" if plan.is_rotation else "exercise",
    )


def _lanes(plan: Plan, block: Block) -> list[Group]:
    """Return who works at once in each lane or group; in a relay it is one of them."""
    return [
        Group(
            name,
            1 if block.one_at_a_time else len(bibs),
            tuple(int(who is None or does(who, exercise)) for exercise in block.exercises),
            tuple(_left_out(exercise, bibs, block.one_at_a_time) for exercise in block.exercises),
        )
        for name, bibs, who in _who(plan)
    ]


def _who(plan: Plan) -> list[tuple[str, Sequence[int], PlanGroup | None]]:
    """Return each lane or group: its name, its bibs, and, where it goes round, the group."""
    if not plan.groups:  # each box has its number
        return [(plan.label(box), (box + 1,), None) for box in range(plan.boxes)]
    return [(group.name, group.bibs, group if plan.is_rotation else None) for group in plan.groups]


def _left_out(exercise: Exercise, bibs: Sequence[int], one_at_a_time: bool) -> int:
    """Return how many of those at work at once leave an exercise out."""
    out = sum(for_bib(exercise, bib).is_left_out for bib in bibs)
    return int(out == len(bibs)) if one_at_a_time else out


def _stations(plan: Plan, block: Block) -> Iterator[Station]:
    """Yield a rotation's stations with their room, or a lane's exercises with their steps."""
    times = times_of(block)
    alike: dict[object, list[int]] = {}
    for step, time in enumerate(times):
        alike.setdefault(time, []).append(step)
    steps = {time: frozenset(found) for time, found in alike.items()}
    for e, exercise in enumerate(block.exercises):
        needs = tuple(Need(need.kit, need.count, need.each) for need in exercise.kit)
        if plan.is_rotation:
            room = plan.stations[e].capacity if plan.stations else None
            yield Station(exercise.name, room, 1 if room is None else None, needs)
        else:
            yield Station(exercise.name, None, None, needs, steps[times[e]])


def order_of(plan: Plan, schedule: Schedule) -> Order | None:
    """Return a schedule as a plan writes it; None when the plan does so without."""
    size = len(schedule.places)
    steps = range(schedule.steps)
    if plan.is_rotation:
        usual = tuple(tuple((g + t) % size for t in steps) for g in range(size))
    else:
        usual = (tuple(steps),) * size
    if schedule.places == usual:
        return None
    return tuple(tuple(place + 1 for place in row) for row in schedule.places)


def _enough(demands: Demands, clash: Clash) -> tuple[tuple[str, int], ...]:
    """Return of which kit how many would do, the other demands as they are; empty if none would.

    One sort that clashes where more of it alone is enough; else all sorts that must be more.
    """
    short = [str(demand.about) for demand in clash.demands if demand.kind == "kit"]
    if not short:
        return ()
    for kit in short:
        if alone := _least(demands, kit):
            return ((kit, alone),)
    plenty = replace(demands, kit={kit: _in_use(demands, kit) for kit in demands.kit})
    if not _can(plenty):
        return ()
    found = []
    for kit, there in demands.kit.items():
        with_few = replace(plenty, kit={**plenty.kit, kit: there})
        count = there if _can(with_few) else _least(with_few, kit)
        plenty = replace(plenty, kit={**plenty.kit, kit: count})
        if count > there:
            found.append((kit, count))
    return tuple(found)


def _least(demands: Demands, kit: str) -> int:
    """Return how many of a kit would do, 0 when none would."""
    for count in range(demands.kit[kit] + 1, _in_use(demands, kit) + 1):
        if _can(replace(demands, kit={**demands.kit, kit: count})):
            return count
    return 0


def _can(demands: Demands) -> bool:
    """Return whether an order was found that keeps all demands."""
    try:
        tried = lane_orders(demands) if demands.noun == "exercise" else solve(demands)
    except UndecidedError:
        return False
    return isinstance(tried, Schedule)


def _in_use(demands: Demands, kit: str) -> int:
    """Return how many of a kit are used if all groups do all that needs it at once."""
    groups, stations = range(len(demands.groups)), range(len(demands.stations))
    return max(demands.kit[kit], sum(demands.use(kit, s, g) for g in groups for s in stations))
