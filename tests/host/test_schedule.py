"""Rotations: who is where, shortest, and what clashes. Found schedules are checked by a verifier."""

import itertools
from dataclasses import replace

import pytest
from made_demands import clashing, feasible, small

from handbell.base.errors import UsageError
from handbell.coach.order.clash import holds
from handbell.coach.order.demands import (
    WAITS,
    Clash,
    Demand,
    Demands,
    Group,
    Need,
    Schedule,
    Station,
    UndecidedError,
    only,
)
from handbell.coach.order.schedule import solve
from handbell.coach.order.verify import broken


def plain(groups, stations, people=2, **more):
    """Every group does every station once."""
    return Demands(
        tuple(Group(f"G{g}", people, (1,) * stations) for g in range(groups)),
        tuple(Station(f"S{s}") for s in range(stations)),
        **more,
    )


def scheduled(demands):
    found = solve(demands)
    assert isinstance(found, Schedule), str(found)
    assert broken(demands, found) == []
    return found


def clashes(demands):
    """The clash, after showing that it is one, and that none of it can be spared."""
    found = solve(demands)
    assert isinstance(found, Clash)
    assert found.smallest
    kept = set(found.demands)
    assert holds(only(demands, kept)) is False
    for demand in found.demands:
        fewer = only(demands, kept - {demand})
        without = solve(fewer)
        assert isinstance(without, Schedule), f"{demand} can be spared"
        assert broken(fewer, without) == []
    return found


@pytest.mark.parametrize("seed", range(24))
def test_random_demands_that_can_be_met_are_met(seed):
    demands = feasible(seed)
    found = solve(demands, seconds=20)
    assert isinstance(found, Schedule)
    assert broken(demands, found) == []


@pytest.mark.parametrize("seed", [0, 1, 2, 5, 11, 21, 24, 34])
def test_random_clashes_are_clashes_and_smallest(seed):
    clashes(clashing(seed))


def rows_of(group, stations, steps):
    """Every way a group may do its visits in so many steps."""
    todo = [s for s in range(stations) for _ in range(group.visits[s])]
    if len(todo) > steps:
        return []
    return sorted(set(itertools.permutations(todo + [WAITS] * (steps - len(todo)))))


def brute_force(demands):
    """The fewest steps in which any schedule keeps the demands, by trying them all."""
    for steps in range(1, demands.steps_most + 1):
        choices = [rows_of(group, len(demands.stations), steps) for group in demands.groups]
        for places in itertools.product(*choices):
            if not broken(demands, Schedule(places, shortest=False)):
                return steps
    return None


@pytest.mark.parametrize("seeds", [range(n, n + 30) for n in range(0, 120, 30)])
def test_small_demands_against_trying_every_schedule(seeds):
    counted = {"found": 0, "none": 0}
    for seed in seeds:
        demands = small(seed)
        fewest = brute_force(demands)
        found = solve(demands)
        if fewest is None:
            assert isinstance(found, Clash), seed
            clashes(demands)
        else:
            assert isinstance(found, Schedule), seed
            assert found.steps == fewest
            assert found.shortest
        counted["none" if fewest is None else "found"] += 1
    assert min(counted.values()) >= 5


def test_everybody_moves_on_where_that_does():
    assert scheduled(plain(4, 4)).places == (
        (0, 1, 2, 3),
        (1, 2, 3, 0),
        (2, 3, 0, 1),
        (3, 0, 1, 2),
    )


@pytest.mark.parametrize(("groups", "stations"), [(6, 4), (3, 5), (7, 7), (12, 5), (1, 3)])
def test_groups_and_stations_of_unequal_number(groups, stations):
    found = scheduled(plain(groups, stations))
    assert found.steps == max(groups, stations)
    assert found.shortest
    assert set(found.waiting) == {max(groups, stations) - stations}


def test_waits_lie_evenly():
    for row in scheduled(plain(8, 4)).places:
        twice = row + row
        assert (WAITS, WAITS) not in list(itertools.pairwise(twice))


def test_two_groups_share_a_station_that_has_room():
    demands = plain(6, 3)
    roomy = tuple(replace(s, room=4, groups_most=None) for s in demands.stations)
    assert scheduled(replace(demands, stations=roomy)).steps == 3


def test_never_directly_after():
    apart = ((0, 1), (1, 2), (2, 3), (3, 0))
    found = scheduled(plain(4, 4, never_after=apart, repeats=True))
    for row in found.places:
        assert not set(apart) & set(itertools.pairwise(row + row[:1]))


def test_pairs_alternate():
    demands = plain(4, 2, alternate=((0, 1), (3, 2)))
    found = scheduled(demands)
    assert found.steps == 4
    for first, second in demands.alternate:
        works = [
            [g for g in (first, second) if found.places[g][t] != WAITS] for t in range(found.steps)
        ]
        assert works == [[first], [second], [first], [second]]


def test_a_pair_of_unequal_work_takes_turns_while_both_have_some():
    groups = (Group("A", 1, (1, 1, 1)), Group("B", 1, (1, 0, 0)))
    demands = Demands(groups, tuple(Station(f"S{n}") for n in range(3)), alternate=((0, 1),))
    found = scheduled(demands)
    works = [g for t in range(found.steps) for g in (0, 1) if found.places[g][t] != WAITS]
    assert works == [0, 1, 0, 0]


def test_two_circuits_side_by_side():
    groups = tuple(
        Group(f"G{g}", 2, (1, 1, 1, 0, 0, 0) if g % 2 else (0, 0, 0, 1, 1, 1)) for g in range(6)
    )
    demands = Demands(groups, tuple(Station(f"S{n}") for n in range(6)))
    found = scheduled(demands)
    assert found.steps == 3
    assert {s for g in (1, 3, 5) for s in found.places[g]} == {0, 1, 2}


def test_kit_is_never_over_its_count():
    straps = (Need("straps", 1, each=False),)
    demands = plain(6, 3, kit={"straps": 3})
    stations = tuple(replace(s, groups_most=None, needs=straps) for s in demands.stations[:2])
    demands = replace(demands, stations=(*stations, replace(demands.stations[2], groups_most=None)))
    found = scheduled(demands)
    assert found.steps == 4  # 12 uses of 3 straps
    in_use = [sum(row[t] in (0, 1) for row in found.places) for t in range(4)]
    assert in_use == [3, 3, 3, 3]


def test_a_group_too_big_for_a_station():
    demands = plain(2, 2, people=5)
    demands = replace(demands, stations=(demands.stations[0], replace(demands.stations[1], room=4)))
    found = clashes(demands)
    assert found.words == ("G0 (5 people) does S0 and S1 once", "S1 has room for 4 people")
    assert str(found) == "; ".join(found.words)


def test_too_little_time_for_a_station():
    found = clashes(plain(4, 3, steps_most=3))
    assert Demand("steps_most") in found.demands
    assert "there is time for 3 windows" in found.words
    assert "takes 1 group at a time" in str(found)
    assert "G0 (2 people), G1 (2 people), G2 (2 people) and G3 (2 people) each do every" in str(
        found
    )


def test_kit_clash_in_words():
    straps = (Need("suspension straps"),)
    demands = plain(2, 2, people=2, kit={"suspension straps": 3}, steps_most=2)
    stations = tuple(replace(s, needs=straps) for s in demands.stations)
    found = clashes(replace(demands, stations=stations))
    assert 'of the kit "suspension straps" there are 3' in found.words


def test_a_pair_without_time_for_turns():
    found = clashes(plain(2, 2, alternate=((0, 1),), steps_most=3))
    assert "G0 and G1 take turns" in found.words


def test_the_same_demands_have_the_same_schedule():
    assert solve(feasible(7)) == solve(feasible(7))


def test_no_time_to_decide():
    with pytest.raises(UndecidedError, match="none was ruled out"):
        solve(replace(feasible(12), steps_most=13), seconds=0)


UNSOUND = [
    (plain(2, 0), "a group and a station"),
    (replace(plain(2, 2), groups=(Group("A", 1, (1,)),)), "A needs a number of visits"),
    (replace(plain(2, 2), groups=(Group("A", 0, (1, 1)),)), "A has nobody in it"),
    (plain(2, 2, never_after=((0, 2),)), "no two stations"),
    (plain(3, 2, alternate=((0, 1), (1, 2))), "one other group at most"),
    (plain(2, 2, alternate=((0, 0),)), "one other group at most"),
    (plain(2, 2, steps_most=0), "there must be a step"),
]


@pytest.mark.parametrize(("demands", "fault"), UNSOUND)
def test_demands_that_make_no_sense(demands, fault):
    with pytest.raises(UsageError, match=fault):
        solve(demands)


TIGHT = Demands(
    (Group("A", 2, (1, 1)), Group("B", 1, (1, 1))),
    (
        Station("Row", room=2, needs=(Need("straps"),)),
        Station(
            "Rope", groups_most=2, needs=(Need("mat", 2, each=False),), steps=frozenset({0, 1, 2})
        ),
    ),
    {"straps": 2, "mat": 2},
    never_after=((0, 1),),
    steps_most=4,
)
A, B = (1, 0, WAITS, WAITS), (WAITS, 1, 0, WAITS)
BREAKS = [
    ({}, (A, B), ""),
    ({}, (A,), "one row"),
    ({}, (A, B[:3]), "one row"),
    ({}, ((1, WAITS, WAITS, WAITS), B), "A does Row 0 times instead of 1"),
    ({}, ((1, 0, 7, WAITS), B), "place 7"),
    ({}, ((1, 0, WAITS, WAITS, WAITS), (*B, WAITS)), "5 steps instead of 4"),
    ({}, (A, (1, WAITS, 0, WAITS)), "4 of mat in use, of 2"),
    ({}, (A, (1, 0, WAITS, WAITS)), "2 groups at Row"),
    ({}, (A, (1, 0, WAITS, WAITS)), "3 people at Row"),
    ({}, (A, (1, 0, WAITS, WAITS)), "3 of straps in use, of 2"),
    ({}, (A, (0, 1, WAITS, WAITS)), "B: Rope directly after Row"),
    ({}, (A, (0, WAITS, WAITS, 1)), "Rope is used, and may not be"),
    ({"repeats": True}, ((1, WAITS, WAITS, 0), B), "A: Rope directly after Row"),
    ({"alternate": ((0, 1),)}, ((1, WAITS, 0, WAITS), (WAITS, 1, WAITS, 0)), ""),
    ({"alternate": ((0, 1),)}, (A, (WAITS, WAITS, 1, 0)), "A works out of turn"),
    ({"alternate": ((0, 1),)}, (A, B), "both work"),
    ({"alternate": ((1, 0),)}, ((1, WAITS, 0, WAITS), (WAITS, 1, WAITS, 0)), "out of turn"),
]


@pytest.mark.parametrize(("more", "places", "fault"), BREAKS)
def test_the_verifier_sees_it(more, places, fault):
    found = broken(replace(TIGHT, **more), Schedule(places, shortest=False))
    if fault:
        assert any(fault in sentence for sentence in found), found
    else:
        assert found == []
