"""Of the orders that do, one that people would choose: against trying them all."""

import itertools
import math
import random
import re

import pytest

from handbell.cli.main import main
from handbell.coach.library.following import shared_load
from handbell.coach.library.remarks import coach_remarks
from handbell.coach.library.shelf import load_library
from handbell.coach.order.better import better
from handbell.coach.order.kit import demands_of, share
from handbell.coach.order.tour import tour
from handbell.coach.order.verify import broken
from handbell.compile import build
from handbell.plan.files import parse_plan

pytest.importorskip("ortools", reason="the extra planning isn't installed")

LIBRARY = load_library()
NAMES = sorted(entry.name for entry in LIBRARY.entries.values() if entry.reps_30s and entry.tires)


def rotation(names, groups, never, spots=(), kit=""):
    """A rotation that can't simply go round: what is first is never to be followed by the next."""
    text = f'title = "X"\nlayout = "rotation"\nbuttons = 1\nchange_s = 10\nnever_after = {never}\n{kit}'
    text += "".join(f'[[group]]\nname = "G{g}"\nbibs = [{g + 1}]\n' for g in range(groups))
    for n in range(len(names) if spots else 0):
        text += f'[[station]]\nlabel = "S{n}"\nat = {list(spots[n])}\n'
    text += "[[block]]\nrounds = 1\n"
    text += "".join(f'[[block.exercise]]\nname = "{name}"\nwork_s = 30\n' for name in names)
    return parse_plan(text.replace("'", '"').encode())


def tires_the_same(one, other):
    a, b = LIBRARY.need(one), LIBRARY.need(other)
    return a is not b and bool(shared_load(a, b))


def longest_wait(row):
    return max((len(list(run)) for place, run in itertools.groupby(row) if place < 0), default=0)


def cheapest(demands, names, spots, steps, waits):
    """The least (same muscles, metres) of any schedule of so many steps, by trying them all.

    Nobody waits for longer on end than so many steps.
    """
    stations = range(len(names))
    rows = sorted(set(itertools.permutations([*stations, *[-1] * (steps - len(names))])))
    best = (math.inf, math.inf)
    never = set(demands.never_after)
    rows = [r for r in rows if longest_wait(r) <= waits]
    rows = [r for r in rows if not any(pair in never for pair in itertools.pairwise(r))]

    def cost(row):
        """Windows of 30 s, changes of 10 s; after a minute muscles have recovered."""
        at = [(n, place) for n, place in enumerate(row) if place >= 0]
        same = way = 0
        for (m, a), (n, b) in itertools.pairwise(at):
            rest_s = (n - m - 1) * 40 + 10
            same += rest_s < 60 and tires_the_same(names[a], names[b])
            way += math.dist(spots[a], spots[b]) if spots else 0
        return same, way

    costs = {row: cost(row) for row in rows}

    def further(taken, so_far):
        nonlocal best
        if so_far >= best:
            return
        if len(taken) == len(demands.groups):
            best = so_far
            return
        for row in rows:
            if all(a != b or a == -1 for other in taken for a, b in zip(row, other, strict=True)):
                more = costs[row]
                further([*taken, row], (so_far[0] + more[0], so_far[1] + more[1]))

    further([], (0, 0))
    return best


@pytest.mark.parametrize(
    ("seed", "groups", "stations"),
    [(n, 3, 4) for n in range(6)] + [(7, 4, 3), (8, 4, 3), (9, 5, 3)],
)
def test_it_is_the_best_there_is(seed, groups, stations):
    """With more groups than stations some wait, and walk on after it all the same."""
    rng = random.Random(seed)
    names = rng.sample(NAMES, stations)
    spots = [(rng.randrange(20) / 2, rng.randrange(20)) for _ in names] if seed % 2 else ()
    plan = rotation(names, groups, [names[:2], names[1:3]], spots)
    shared = share(plan, 0)
    found = better(plan, shared, LIBRARY)
    assert found and found.best and found.shared.schedule
    demands = demands_of(plan, 0)
    assert broken(demands, found.shared.schedule) == []
    assert found.shared.schedule.steps == shared.schedule.steps, "never longer for it"
    same, way = cheapest(
        demands,
        names,
        spots,
        shared.schedule.steps,
        max(map(longest_wait, shared.schedule.places)),
    )
    assert found.alike == same
    assert (found.walk_m or 0) == pytest.approx(way, abs=0.05 * 12)


def test_the_check_has_nothing_to_scold_where_an_order_without_is_there(tmp_path, capsys):
    """An order sent a group from squats to swings to lunges, and check scolded it nine times."""
    names = [
        "Goblet squat",
        "Push-up",
        "Reverse lunge",
        "Plank",
        "Kettlebell swing",
        "Row in straps",
    ]
    never = [["Kettlebell swing", "Row in straps"]]
    plan = rotation(names, 4, never)
    shared = share(plan, 0)
    found = better(plan, shared, LIBRARY)
    assert found and found.alike == 0
    text = f"order = {[list(row) for row in found.shared.order]}\n"
    path = tmp_path / "x.toml"
    source = f'title = "X"\nlayout = "rotation"\nchange_s = 10\nnever_after = {never}\n'.replace(
        "'", '"'
    )
    source += "".join(f'[[group]]\nname = "G{g}"\nbibs = [{g + 1}]\n' for g in range(4))
    source += f"[[block]]\n{text}"
    source += "".join(f'[[block.exercise]]\nname = "{name}"\nwork_s = 30\n' for name in names)
    built = build(parse_plan(source.encode()))
    assert [n for n in coach_remarks(built.schedule, LIBRARY) if "comes straight after" in n] == []
    path.write_text(source.replace(text, ""))
    assert main(["order", str(path), "--write"]) == 0
    capsys.readouterr()
    assert main(["check", str(path)]) == 0
    assert "comes straight after" not in capsys.readouterr().out


def test_the_way_is_told(tmp_path, capsys):
    names = NAMES[:4]
    path = tmp_path / "x.toml"
    plan_text = 'title = "X"\nlayout = "rotation"\nchange_s = 10\n'
    plan_text += f'never_after = [["{names[0]}", "{names[1]}"]]\n'
    plan_text += "".join(f'[[group]]\nname = "G{g}"\nbibs = [{g + 1}]\n' for g in range(4))
    plan_text += "".join(f'[[station]]\nlabel = "S{n}"\nat = [{3 * n}, 0]\n' for n in range(4))
    plan_text += "[[block]]\n"
    plan_text += "".join(f'[[block.exercise]]\nname = "{name}"\nwork_s = 30\n' for name in names)
    path.write_text(plan_text)
    assert main(["order", str(path)]) == 0
    assert re.search(r"The way is \d+ m a round, all groups together\.", capsys.readouterr().out)
    path.write_text(plan_text.replace("at = [3, 0]", "at = [0, 4.5]"))
    assert main(["check", str(path)]) == 0, "the manual's own example"
    path.write_text(plan_text.replace("at = [3, 0]", "at = [nan, inf]"))
    assert main(["check", str(path)]) == 1
    path.write_text(plan_text.replace("at = [3, 0]\n", ""))
    assert main(["check", str(path)]) == 1
    assert "station 2, at: other stations say where they are" in capsys.readouterr().err
    path.write_text(plan_text.replace("at = [3, 0]", 'at = "door"'))
    assert main(["check", str(path)]) == 1
    assert "write metres along and across, such as [0, 4.5]" in capsys.readouterr().err


def test_two_kits_that_are_short_are_told_together(tmp_path, capsys):
    """More of either alone was not enough, so nothing was proposed."""
    text = (
        'title = "X"\nlayout = "rotation"\nbuttons = 3\n[kit]\nbox = 1\n"suspension straps" = 2\n'
    )
    text += "".join(
        f'[[group]]\nname = "G{g}"\nbibs = [{3 * g + 1}, {3 * g + 2}, {3 * g + 3}]\n'
        for g in range(3)
    )
    text += '[[block]]\n[[block.exercise]]\nname = "Step-up"\nwork_s = 30\nkit = ["box"]\n'
    text += '[[block.exercise]]\nname = "Row in straps"\nwork_s = 30\nkit = ["suspension straps"]\n'
    text += '[[block.exercise]]\nname = "Squat"\nwork_s = 30\n'
    path = tmp_path / "x.toml"
    path.write_text(text)
    assert main(["order", str(path)]) == 1
    assert "3 of box and 3 of suspension straps would do." in capsys.readouterr().out
    path.write_text(text.replace("box = 1", "box = 3").replace('straps" = 2', 'straps" = 3'))
    assert main(["order", str(path)]) == 0


def test_an_order_that_makes_the_class_longer_says_so(tmp_path, capsys):
    text = 'title = "X"\nlayout = "rotation"\nchange_s = 10\n[fit]\nminutes = 3\n[kit]\nbox = 1\n'
    text += "".join(f'[[group]]\nname = "G{g}"\nbibs = [{g + 1}]\n' for g in range(3))
    text += "[[block]]\n" + "".join(
        f'[[block.exercise]]\nname = "{name}"\nwork_s = 30\nkit = ["box"]\n'
        for name in ("Step-up", "Sit to stand", "Squat")
    )
    path = tmp_path / "x.toml"
    path.write_text(text)
    assert main(["order", str(path)]) == 0
    out = capsys.readouterr().out
    before, after = 10 + 3 * 30 + 2 * 10, 10 + 9 * 30 + 8 * 10  # nine visits, one after the other
    assert (
        f"The class becomes {after // 60}:{after % 60:02d} long, from {before // 60}:{before % 60:02d}."
        in out
    )
    assert "over its slot of 3:00" in out


def going_round(spots, top="", rounds=2):
    """A rotation that needs no order: groups go from station to station as they are written."""
    plan = f'title = "Round"\nlayout = "rotation"\n{top}'
    for n in range(len(spots)):
        plan += f'[[group]]\nname = "G{n}"\nbibs = [{n + 1}]\n'
    for n, spot in enumerate(spots):
        plan += f'[[station]]\nlabel = "S{n}"\nat = {list(spot)}\n'
    plan += f"[[block]]\nrounds = {rounds}\n"
    return plan + "".join(
        f'[[block.exercise]]\nname = "Own {n}"\nwork_s = 30\n' for n in range(len(spots))
    )


CROSSED = [(0, 0), (6, 6), (6, 0), (0, 6)]
SQUARE = [(0, 0), (6, 0), (6, 6), (0, 6)]


def test_a_way_that_crosses_the_room_gets_an_order(tmp_path, capsys):
    path = tmp_path / "x.toml"
    path.write_text(going_round(CROSSED))
    assert main(["order", str(path), "--write"]) == 0
    said = capsys.readouterr().out
    assert "no order of its own" not in said
    assert "The way is 96 m a round, all groups together." in said, "6 m for each of 4 changes"
    order = parse_plan(path.read_bytes()).blocks[0].order
    assert order == ((1, 3, 2, 4), (2, 4, 1, 3), (3, 2, 4, 1), (4, 1, 3, 2))
    assert main(["check", str(path)]) == 0
    capsys.readouterr()
    assert main(["order", str(path)]) == 0
    said = capsys.readouterr().out
    assert "already fits" in said and "The way is 96 m a round" in said


def test_a_way_round_that_is_short_stays_and_is_told(tmp_path, capsys):
    path = tmp_path / "x.toml"
    path.write_text(going_round(SQUARE))
    assert main(["order", str(path)]) == 0
    said = capsys.readouterr().out
    assert "already fits" in said and "The way is 96 m a round" in said


def test_a_demand_comes_before_a_short_way():
    """From S0 to S2 is the short way, and never allowed."""
    plan = parse_plan(going_round(CROSSED, 'never_after = [["Own 0", "Own 2"]]\n').encode())
    found = better(plan, share(plan, 0), LIBRARY)
    assert found.shared.order is None and not broken(found.shared.demands, found.shared.schedule)


def test_who_leaves_a_station_out_comes_before_a_short_way():
    """Without the fourth, the short way has them do the first straight after the second."""
    text = going_round(CROSSED, 'change_s = 5\nnever_after = [["Own 1", "Own 0"]]\n')
    assert (
        better(parse_plan(text.encode()), share(parse_plan(text.encode()), 0), LIBRARY).walk_m == 96
    )
    plan = parse_plan(f"{text}[[block.exercise.scaled]]\nbibs = [1]\nout = true\n".encode())
    assert better(plan, share(plan, 0), LIBRARY).shared.order is None


@pytest.mark.parametrize("seed", range(6))
def test_the_way_round_is_the_shortest_there_is(seed):
    rng = random.Random(seed)
    count = rng.randint(2, 7)
    spots = [(rng.randint(0, 9), rng.randint(0, 9)) for _ in range(count)]
    ways = {
        (a, b): round(10 * math.dist(spots[a], spots[b]))
        for a, b in itertools.permutations(range(count), 2)
    }

    def length(way):
        return sum(ways[pair] for pair in itertools.pairwise((*way, way[0])))

    shortest = min(length((0, *rest)) for rest in itertools.permutations(range(1, count)))
    assert length(tour(ways, count)) == shortest
    assert sorted(tour(ways, count)) == [*range(count)]


def test_of_many_stations_a_way_round_has_no_crossing():
    spots = [(n % 2 * 6, n // 2 * 3) for n in range(14)]
    ways = {
        (a, b): round(10 * math.dist(spots[a], spots[b]))
        for a, b in itertools.permutations(range(14), 2)
    }
    way = tour(ways, 14)
    assert sorted(way) == [*range(14)]
    assert sum(ways[pair] for pair in itertools.pairwise((*way, way[0]))) == 10 * 48
