"""Random demands on rotations for tests: feasible ones, made from a schedule, and ones that clash."""

import random
from dataclasses import replace
from itertools import pairwise

from handbell.coach.order.demands import WAITS, Demands, Group, Need, Station

KIT = ["straps", "bench", "rower", "band"]


def feasible(seed):
    """Return demands that a schedule made first is known to keep, up to 12 x 12 with 4 kits."""
    rng = random.Random(seed)
    places = (_square if rng.random() < 0.5 else _loose)(rng)
    return _around(rng, places)


def clashing(seed):
    """Return demands that can't hold together, a counting reason having been put in."""
    rng = random.Random(seed)
    demands = feasible(seed)
    stations, groups = list(demands.stations), list(demands.groups)
    how = rng.randrange(5)
    if how == 0 or (how == 2 and not _uses(demands)):  # too few steps for the busiest group
        busiest = max(sum(group.visits) for group in groups)
        return (
            replace(demands, steps_most=max(1, busiest - 1))
            if busiest > 1
            else clashing(seed + 1000)
        )
    if how == 1:  # a station that has room for all but the largest of its groups
        s = rng.choice([s for s in range(len(stations)) if any(g.visits[s] for g in groups)])
        largest = max(g.people for g in groups if g.visits[s])
        if largest == 1:
            return clashing(seed + 1000)
        stations[s] = replace(stations[s], room=largest - 1)
        return replace(demands, stations=tuple(stations))
    if how == 2:  # kit for fewer than the steps need
        kit, use = rng.choice(_uses(demands))
        steps = demands.steps_most or 2 * len(groups)
        count = (use - 1) // steps
        return replace(demands, kit={**demands.kit, kit: count}, steps_most=steps)
    if how == 3:  # a pair that takes turns and has too few steps for both
        a, b = rng.sample(range(len(groups)), 2)
        both = sum(groups[a].visits) + sum(groups[b].visits)
        if both < 2:
            return clashing(seed + 1000)
        return replace(demands, alternate=((a, b),), steps_most=both - 1)
    # Every two stations kept apart, and no step to wait in between.
    g = rng.randrange(len(groups))
    done = [s for s, visits in enumerate(groups[g].visits) if visits]
    if len(done) < 2:
        return clashing(seed + 1000)
    apart = tuple((a, b) for a in done for b in done if a != b)
    return replace(demands, never_after=apart, steps_most=sum(groups[g].visits))


def small(seed):
    """Return demands small enough to try every schedule; half of them clash."""
    rng = random.Random(seed)
    groups, stations, steps = rng.randint(1, 3), rng.randint(1, 3), rng.randint(1, 4)
    return Demands(
        tuple(
            Group(f"G{g}", rng.randint(1, 3), tuple(rng.randint(0, 1) for _ in range(stations)))
            for g in range(groups)
        ),
        tuple(
            Station(
                f"S{s}",
                rng.choice([None, 2, 3, 4]),
                rng.choice([None, 1, 1, 2]),
                (Need("straps", 1, rng.random() < 0.5),) if rng.random() < 0.5 else (),
            )
            for s in range(stations)
        ),
        {"straps": rng.randint(1, 4)},
        tuple((a, b) for a in range(stations) for b in range(stations) if rng.random() < 0.25),
        ((0, 1),) if groups > 1 and rng.random() < 0.3 else (),
        steps,
        rng.random() < 0.2,
    )


def _square(rng):
    """Return places in which everybody does every station, shuffled."""
    groups, stations = rng.randint(2, 12), rng.randint(2, 12)
    steps = max(groups, stations) + rng.randint(0, 2)
    columns, symbols = list(range(steps)), list(range(steps))
    rng.shuffle(columns)
    rng.shuffle(symbols)
    rows = [[symbols[(g + t) % steps] for t in columns] for g in range(groups)]
    return [[s if s < stations else WAITS for s in row] for row in rows], stations


def _loose(rng):
    """Return places in which groups do some of the stations, some of them by turns."""
    groups, stations, steps = rng.randint(2, 12), rng.randint(2, 12), rng.randint(3, 16)
    rows = [[WAITS] * steps for _ in range(groups)]
    for t in range(steps):
        for g in rng.sample(range(groups), groups):
            s = rng.randrange(stations)
            if rng.random() < 0.8 and s not in rows[g][:t] and sum(r[t] == s for r in rows) < 2:
                rows[g][t] = s
    for row in rows:
        if all(place == WAITS for place in row):
            row[0] = rng.randrange(stations)
    if groups > 3 and rng.random() < 0.5:
        _take_turns(rows[0], rows[1])
    return rows, stations


def _take_turns(first, second):
    """Take out every visit that is out of turn."""
    turn = 0
    for t in range(len(first)):
        pair = (first, second)
        pair[1 - turn][t] = WAITS
        if pair[turn][t] != WAITS:
            turn = 1 - turn


def _around(rng, made):
    """Return demands that the places keep, as tight as they can be in many respects."""
    rows, stations = made
    people = [rng.randint(1, 6) for _ in rows]
    steps = len(rows[0])
    kits = rng.sample(KIT, rng.randint(0, 4))
    needs = [
        tuple(Need(kit, 1, rng.random() < 0.6) for kit in kits if rng.random() < 0.3)
        for _ in range(stations)
    ]
    there = [
        [[g for g, row in enumerate(rows) if row[t] == s] for t in range(steps)]
        for s in range(stations)
    ]

    def room(s):
        most = max((sum(people[g] for g in at) for at in there[s]), default=0)
        return None if rng.random() < 0.4 else max(1, most + rng.randint(0, 2))

    def groups_most(s):
        return max(1, *(len(at) for at in there[s]))

    def used(kit):
        return max(
            sum(
                n.of(people[g])
                for s in range(stations)
                for n in needs[s]
                if n.kit == kit
                for g in there[s][t]
            )
            for t in range(steps)
        )

    follows = {(a, b) for row in rows for a, b in pairwise(row)}
    free = [
        (a, b) for a in range(stations) for b in range(stations) if a != b and (a, b) not in follows
    ]
    turns = len(rows) > 3 and _turns_kept(rows[0], rows[1])
    return Demands(
        tuple(
            Group(f"Group {g + 1}", people[g], tuple(row.count(s) for s in range(stations)))
            for g, row in enumerate(rows)
        ),
        tuple(
            Station(f"Station {s + 1}", room(s), groups_most(s), needs[s]) for s in range(stations)
        ),
        {kit: used(kit) for kit in kits},
        tuple(rng.sample(free, min(len(free), rng.randint(0, stations)))),
        ((0, 1),) if turns else (),
        steps if rng.random() < 0.8 else None,
    )


def _turns_kept(first, second):
    marks = [(a != WAITS, b != WAITS) for a, b in zip(first, second, strict=True)]
    order = [0 if a else 1 for a, b in marks if a or b]
    return (
        not any(a and b for a, b in marks)
        and order == [n % 2 for n in range(len(order))]
        and order != []
    )


def _uses(demands):
    """Return each kit with all that is used of it, over all visits."""
    totals = {
        kit: sum(
            demands.use(kit, s, g) * group.visits[s]
            for g, group in enumerate(demands.groups)
            for s in range(len(demands.stations))
        )
        for kit in demands.kit
    }
    return [(kit, use) for kit, use in totals.items() if use > 0]
