"""Whether a schedule keeps every demand: walked through step by step, apart from the solver.

It shares no code with the model, so that a mistake there shows here.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import pairwise

from .demands import WAITS, Demands, Schedule


def broken(demands: Demands, schedule: Schedule) -> list[str]:
    """Return a sentence for everything a schedule breaks; empty when it keeps all demands."""
    lengths = {len(row) for row in schedule.places}
    if len(schedule.places) != len(demands.groups) or len(lengths) != 1:
        return ["the schedule has not one row of the same length for each group"]
    return [
        *_visits(demands, schedule),
        *_steps(demands, schedule),
        *_orders(demands, schedule),
        *_turns(demands, schedule),
    ]


def _visits(demands: Demands, schedule: Schedule) -> Iterator[str]:
    for group, row in zip(demands.groups, schedule.places, strict=True):
        counted = Counter(row)
        for s, station in enumerate(demands.stations):
            if counted.pop(s, 0) != group.visits[s]:
                yield (
                    f"{group.name} does {station.name} {row.count(s)} times "
                    f"instead of {group.visits[s]}"
                )
        counted.pop(WAITS, 0)
        for place in counted:
            yield f"{group.name} is at a place {place}, which is none"
    if demands.steps_most is not None and schedule.steps > demands.steps_most:
        yield f"it takes {schedule.steps} steps instead of {demands.steps_most}"


def _steps(demands: Demands, schedule: Schedule) -> Iterator[str]:
    for step in range(schedule.steps):
        at: dict[int, list[int]] = {}
        in_use: Counter[str] = Counter()
        for g, row in enumerate(schedule.places):
            if 0 <= row[step] < len(demands.stations):
                at.setdefault(row[step], []).append(g)
        for s, there in at.items():
            station = demands.stations[s]
            people = sum(demands.groups[g].people for g in there)
            if station.steps is not None and step not in station.steps:
                yield f"step {step + 1}: {station.name} is used, and may not be"
            if station.groups_most is not None and len(there) > station.groups_most:
                yield f"step {step + 1}: {len(there)} groups at {station.name}"
            if station.room is not None and people > station.room:
                yield f"step {step + 1}: {people} people at {station.name}"
            for need in station.needs:
                for g in there:
                    group = demands.groups[g]
                    at_work = group.people - (group.out[s] if group.out else 0)
                    in_use[need.kit] += need.count * (at_work if need.each else at_work > 0)
        for kit, used in in_use.items():
            if used > demands.kit.get(kit, used):
                yield f"step {step + 1}: {used} of {kit} in use, of {demands.kit[kit]}"


def _orders(demands: Demands, schedule: Schedule) -> Iterator[str]:
    forbidden = set(demands.never_after)
    for group, row in zip(demands.groups, schedule.places, strict=True):
        follows = list(pairwise(row))
        if demands.repeats and len(row) > 1:
            follows.append((row[-1], row[0]))
        names = demands.stations
        for first, second in follows:
            if (first, second) in forbidden and (first, second) not in group.may:
                yield f"{group.name}: {names[second].name} directly after {names[first].name}"
        for does, way, ruled_out in (
            ("begins", row, group.not_first),
            ("ends", row[::-1], group.not_last),
        ):
            waits = next((n for n, place in enumerate(way) if place != WAITS), None)
            if waits is not None and (way[waits], waits) in ruled_out:
                yield f"{group.name} {does} with {names[way[waits]].name}"


def _turns(demands: Demands, schedule: Schedule) -> Iterator[str]:
    for pair in demands.alternate:
        names = [demands.groups[g].name for g in pair]
        left = [sum(demands.groups[g].visits) for g in pair]
        turn = 0
        for step in range(schedule.steps):
            at_work = [n for n in (0, 1) if schedule.places[pair[n]][step] != WAITS]
            if len(at_work) == 2:
                yield f"step {step + 1}: {names[0]} and {names[1]} both work"
                break
            for n in at_work:
                if n != turn and left[turn]:
                    yield f"step {step + 1}: {names[n]} works out of turn"
                left[n] -= 1
                turn = 1 - n
