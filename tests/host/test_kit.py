"""Shared kit: orders for lanes and groups, what the boxes then play, and ``share``."""

import dataclasses
import itertools
import json
import random

import classes
import pytest
from made_plans import EXAMPLES

from handbell.base.errors import PlanError
from handbell.cli.main import main
from handbell.coach.library.remarks import coach_remarks
from handbell.coach.library.shelf import load_library
from handbell.coach.order.demands import WAITS
from handbell.coach.order.kit import demands_of, faults, orders, share
from handbell.coach.order.near import lane_orders
from handbell.coach.order.table import by_group, by_station, visits
from handbell.coach.order.verify import broken
from handbell.compile import build
from handbell.compile.schedule import resolve
from handbell.compile.timetable import box_rows
from handbell.plan.files import load_plan, parse_plan
from handbell.report import class_report
from handbell.store import open_store

STRAPS = 'kit = ["suspension straps"]\n'
TASKS = (("Squat jump", ""), ("Strap row", STRAPS), ("Plank", "hold = true\n"))


def exercises(tasks, work="30"):
    head = "  [[block.exercise]]\n"
    return "".join(f'{head}name = "{name}"\nwork_s = {work}\n{more}' for name, more in tasks)


def lanes(count=2, boxes=6, tasks=TASKS, block="rounds = 3", top=""):
    return (
        f'title = "Lanes"\nboxes = {boxes}\n{top}\n[kit]\n"suspension straps" = {count}\n'
        f"[[block]]\n{block}\n{exercises(tasks)}"
    )


def rotation(sizes, tasks, block="rounds = 2\nround_rest_s = 45", top="", stations=""):
    bibs = iter(range(1, 99))
    groups = "".join(
        f'[[group]]\nname = "{chr(65 + n)}"\nbibs = {[next(bibs) for _ in range(size)]}\n'
        for n, size in enumerate(sizes)
    )
    return (
        f'title = "Corners"\nlayout = "rotation"\nbuttons = 2\nturns = "round"\n{top}\n'
        f"{groups}{stations}[[block]]\n{block}\n{exercises(tasks, 40)}"
    )


def parsed(text):
    return parse_plan(text.encode())


def ordered(text):
    """The plan with its orders written in."""
    plan = parsed(text)
    parts = text.split("[[block]]\n")
    for s in orders(plan):
        assert s.clash is None, str(s.clash)
        if s.order is not None:
            rows = json.dumps(s.order)
            parts[s.block + 1] = f"order = {rows}\n{parts[s.block + 1]}"
    return parsed("[[block]]\n".join(parts))


def in_use(plan, kit):
    """How much of a kit is in use in each window, from the boxes' own timelines."""
    takes = {
        e.name for block in plan.blocks for e in block.exercises if kit in {k.kit for k in e.kit}
    }
    used = {}
    for timeline in build(plan).timelines:
        for row in box_rows(timeline.data):
            if row.kind == "window" and row.what.split(",")[0] in takes:
                people = len(row.bibs) if plan.groups else 1
                for ms in range(row.class_ms, row.class_ms + row.duration_ms, 100):
                    used[ms] = used.get(ms, 0) + people
    return used


def test_six_lanes_and_two_straps():
    plan = ordered(lanes())
    assert plan.blocks[0].order == (
        (1, 2, 3),
        (1, 2, 3),
        (2, 3, 1),
        (2, 3, 1),
        (3, 1, 2),
        (3, 1, 2),
    )
    used = in_use(plan, "suspension straps")
    assert max(used.values()) == 2
    assert len(used) == plan.blocks[0].rounds * 3 * 300  # at every tenth of every window
    assert max(in_use(parsed(lanes()), "suspension straps").values()) == 6


def test_every_lane_does_every_exercise_in_every_round_at_the_same_instants():
    plan = ordered(lanes())
    edges = set()
    for timeline in build(plan).timelines:
        rows = [row for row in box_rows(timeline.data) if row.kind == "window"]
        for _, of_round in itertools.groupby(rows, key=lambda row: row.round):
            assert sorted(r.what for r in of_round) == ["Plank, hold", "Squat jump", "Strap row"]
        edges.add(tuple((row.class_ms, row.duration_ms) for row in rows))
    assert len(edges) == 1


def test_lanes_that_need_no_order_have_none():
    assert [s.order for s in orders(parsed(lanes(count=6)))] == [None]
    plain = parsed('title = "T"\nboxes = 3\n[[block]]\n' + exercises(TASKS))
    assert share(plain, 0).order is None


def test_as_few_lanes_as_can_be_leave_the_written_order():
    (s,) = orders(parsed(lanes(count=4)))
    assert s.order == ((1, 2, 3),) * 4 + ((2, 3, 1),) * 2


def test_only_windows_of_the_same_length_change_places():
    tasks = (("Row hard", 'kit = ["rower"]\n'), *TASKS)
    text = lanes(count=2, tasks=tasks).replace("work_s = 30", "work_s = 40", 1)
    (s,) = orders(parsed(text))
    assert {row[0] for row in s.order} == {1}
    assert max(in_use(ordered(text), "suspension straps").values()) == 2


def test_an_order_that_only_going_round_can_not_give():
    """Going round, both lanes would have to begin at C: else it follows B."""
    tasks = (("A", 'kit = ["x"]\n'), ("B", 'kit = ["x"]\n'), ("C", ""), ("D", ""))
    text = (
        'title = "T"\nboxes = 2\nnever_after = [["B", "C"]]\n[kit]\nx = 1\n[[block]]\n'
        + exercises(tasks)
    )
    (s,) = orders(parsed(text))
    assert broken(s.demands, s.schedule) == []
    assert max(in_use(ordered(text), "x").values()) == 1


def test_too_few_straps_say_how_many_would_do():
    (s,) = orders(parsed(lanes(count=1)))
    assert s.order is None and s.clash.smallest
    assert 'of the kit "suspension straps" there is 1' in s.clash.words
    assert "Strap row, which takes it, can be in 3 windows of a round" in s.clash.words
    assert s.enough == (("suspension straps", 2),)


def test_kit_that_a_group_shares():
    group = '[[group]]\nname = "{}"\nbibs = [{}, {}]\n'
    people = "".join(group.format(c, 2 * n + 1, 2 * n + 2) for n, c in enumerate("ABC"))
    text = lanes(count=2, boxes=0).replace("boxes = 0", "buttons = 2")
    text = text.replace("[[block]]", people + "[[block]]")
    assert max(in_use(ordered(text), "suspension straps").values()) == 2
    shared = text.replace('kit = ["suspension straps"]', "kit = { 'suspension straps' = 1 }")
    (s,) = orders(parsed(shared))
    together = [sum(row[t] == 2 for row in s.order) for t in range(3)]
    assert sorted(together) == [0, 1, 2]  # groups at once; two of two people would take four each


CORNERS = (("Box jump", ""), ("Ring row", ""), ("Strap row", STRAPS), ("Ball slam", ""))
SCARCE = 'never_after = [["Ring row", "Strap row"]]\n[kit]\n"suspension straps" = 3'


@pytest.mark.parametrize("sizes", [(2, 3, 1, 2, 2, 1), (2, 2), (1, 1, 1, 1), (3, 1, 2)])
def test_groups_of_unequal_number_on_their_boxes(sizes):
    plan = ordered(rotation(sizes, CORNERS, top=SCARCE))
    built = build(plan)
    assert len(built.timelines) == 4
    was_at = {}
    for timeline in built.timelines:
        for row in box_rows(timeline.data):
            if row.kind == "window" and row.bibs:
                was_at.setdefault((row.who, row.round), []).append(timeline.station)
    # Every group at every station once in each round.
    assert was_at.keys() == {(g.name, r) for g in plan.groups for r in (1, 2)}
    assert all(sorted(stations) == [1, 2, 3, 4] for stations in was_at.values())
    assert max(in_use(plan, "suspension straps").values()) <= 3
    assert faults(resolve(plan)) == []


def test_everybody_is_asked_once_how_hard_it_was():
    plan = ordered(rotation((2, 3, 1, 2, 2, 1), CORNERS, top=SCARCE))
    asked = [
        bib
        for timeline in build(plan).timelines
        for row in box_rows(timeline.data)
        if row.kind == "rating"
        for bib in row.bibs
    ]
    assert sorted(asked) == sorted(bib for group in plan.groups for bib in group.bibs)


def test_bibs_of_a_box_are_those_that_come_to_it():
    plan = ordered(rotation((2, 3, 1, 2, 2, 1), CORNERS, top=SCARCE))
    for timeline in build(plan).timelines:
        assert sorted(timeline.bibs) == list(range(1, 12))


def test_two_groups_at_a_station_that_has_room():
    roomy = "".join(f'[[station]]\nlabel = "{c}"\ncapacity = 4\n' for c in "WXYZ")
    plan = ordered(rotation((2, 2, 2, 2, 2, 2, 2, 2), CORNERS, stations=roomy))
    assert len(plan.blocks[0].order[0]) == 4
    rows = [row for row in box_rows(build(plan).timelines[0].data) if row.kind == "window"]
    assert all(" + " in row.who for row in rows)
    assert {len(row.bibs) for row in rows} == {2}
    # Four people share two buttons, by turns of a round: all have had one after two rounds.
    assert {bib for row in rows for bib in row.bibs} == set(range(1, 17))


def test_a_group_bigger_than_a_station():
    small = "".join(f'[[station]]\nlabel = "{c}"\ncapacity = 2\n' for c in "WXYZ")
    (s,) = orders(parsed(rotation((2, 3, 1, 2), CORNERS, stations=small)))
    assert s.clash.smallest and len(s.clash.words) == 2
    assert "B (3 people) does every station once" in s.clash.words
    assert "Box jump has room for 2 people" in s.clash.words


def test_two_circuits_side_by_side():
    tasks = [(f"L{n}", 'circuit = "left"\n') for n in range(3)]
    tasks += [(f"R{n}", 'circuit = "right"\n') for n in range(3)]
    text = rotation((1,) * 6, tasks)
    for n, name in enumerate("ABCDEF"):
        side = "left" if n < 3 else "right"
        text = text.replace(f'name = "{name}"\n', f'name = "{name}"\ncircuit = "{side}"\n')
    plan = ordered(text)
    assert len(plan.blocks[0].order[0]) == 3
    table = by_group(visits(build(plan)))
    assert {v.what for v in table["A"]} == {"L0", "L1", "L2"}
    assert {v.what for v in table["F"]} == {"R0", "R1", "R2"}


def test_pairs_that_alternate():
    plan = ordered(rotation((1,) * 4, CORNERS, top='alternate = [["A", "B"], ["C", "D"]]'))
    table = by_group(visits(build(plan)))
    for first, second in (("A", "B"), ("C", "D")):
        works = [
            (bool(a.station), bool(b.station))
            for a, b in zip(table[first], table[second], strict=True)
        ]
        assert works == [(True, False), (False, True)] * 8


def test_who_is_where_by_group_and_by_station():
    plan = ordered(rotation((2, 3, 1, 2, 2, 1), CORNERS, top=SCARCE))
    found = visits(build(plan))
    groups, stations = by_group(found), by_station(found)
    assert list(groups) == list("ABCDEF")
    assert list(stations) == [f"Station {n}" for n in (1, 2, 3, 4)]
    at_work = {
        (v.class_ms, v.group, v.station) for rows in groups.values() for v in rows if v.station
    }
    assert at_work == {(v.class_ms, v.group, v.station) for rows in stations.values() for v in rows}
    windows = build(plan).totals.windows
    assert all(len(rows) == windows for rows in groups.values())
    for timeline in build(plan).timelines:
        on_box = [
            (row.class_ms, row.who)
            for row in box_rows(timeline.data)
            if row.kind == "window" and row.who
        ]
        assert on_box == [(v.class_ms, v.group) for v in stations[timeline.label]]


def test_who_is_where_in_lanes_without_groups():
    table = by_group(visits(build(ordered(lanes()))))
    assert [v.what for v in table["Station 3"][:3]] == ["Strap row", "Plank, hold", "Squat jump"]


def test_an_order_written_by_hand_is_kept_or_faulted():
    plan = ordered(lanes())
    assert share(plan, 0).order == plan.blocks[0].order
    bad = parsed(lanes(block=f"order = {json.dumps([[1, 2, 3]] * 6)}"))
    assert faults(resolve(bad))[0] == (0, "step 2: 6 of suspension straps in use, of 2")
    assert share(bad, 0).order == plan.blocks[0].order


def test_lane_orders_from_the_library_alone():
    demands = demands_of(parsed(lanes()), 0)
    assert lane_orders(demands).places == ((0, 1, 2),) * 2 + ((1, 2, 0),) * 2 + ((2, 0, 1),) * 2
    fewer = dataclasses.replace(demands, kit={"suspension straps": 6})
    assert lane_orders(fewer).places == ((0, 1, 2),) * 6


# The command


def run(capsys, *words):
    code = main([str(word) for word in words])
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    return code, said.out, said.err


@pytest.fixture
def six(tmp_path):
    path = tmp_path / "six.toml"
    path.write_text("# Two straps for six.\n" + lanes(top="# no top"), encoding="utf-8")
    return path


def test_share_writes_an_order_and_nothing_else(six, capsys):
    before = six.read_text(encoding="utf-8")
    code, out, _ = run(capsys, "order", six)
    assert code == 0 and "an order for each" in out and "Nothing written yet; add --write" in out
    assert six.read_text(encoding="utf-8") == before
    assert run(capsys, "order", six, "--write")[0] == 0
    after = six.read_text(encoding="utf-8")
    (added,) = [line for line in after.splitlines() if line not in before.splitlines()]
    assert added.strip().startswith("order = [[1, 2, 3], [1, 2, 3], [2, 3, 1]")
    assert after.replace(added + "\n", "") == before
    code, out, _ = run(capsys, "order", six, "--write")
    assert code == 0 and "already fits" in out and "0:10" not in out, "no table of all rounds"
    assert six.read_text(encoding="utf-8") == after


def test_where_nothing_needs_to_change_one_sentence_says_so(six, capsys):
    """All rounds were printed, though show is there for that."""
    run(capsys, "order", six, "--write")
    for plan in (six, EXAMPLES["three-block"]):  # with an order that fits, and without one
        for more in ([], ["--by", "station"], ["--write"]):
            code, out, err = run(capsys, "order", plan, *more)
            first, *others = out.splitlines()
            assert (code, err) == (0, "")
            assert first == (
                f"The plan already fits, as it is; who is where when: handbell show {plan}."
            )
            assert len(others) == 1 and others[0].startswith("Before hard exercise")


def test_a_class_over_its_slot_is_told_where_nothing_else_needs_to_change(six, capsys):
    text = six.read_text(encoding="utf-8").replace("# no top", "[fit]\nminutes = 1", 1)
    six.write_text(text, encoding="utf-8")
    run(capsys, "order", six, "--write")
    code, out, _ = run(capsys, "order", six)
    assert code == 0 and "The class is over its slot of 1:00: handbell fit, or more kit." in out


@pytest.mark.parametrize("seconds", ["0", "-1", "3601", "999999999999999999999"])
def test_a_search_has_a_time(six, capsys, seconds):
    code, out, err = run(capsys, "order", six, f"--seconds={seconds}")
    assert (code, out) == (2, "") and "Say 1 to 3600." in err
    assert run(capsys, "order", six, "--seconds", 1)[0] == 0


def test_share_for_machines(six, capsys):
    facts = json.loads(run(capsys, "order", six, "--json", "--by", "station")[1])["data"]
    assert facts["blocks"][0]["order"][2] == [2, 3, 1]
    assert facts["table"]["Station 3"][0]["what"] == "Strap row"
    assert facts["written"] is None


def test_share_refuses_a_clash_in_words(tmp_path, capsys):
    path = tmp_path / "six.toml"
    path.write_text(lanes(count=1), encoding="utf-8")
    code, out, _ = run(capsys, "order", path, "--write")
    words = " ".join(out.split())
    assert code == 1
    assert "this can't hold together (without any one of these the others can)" in words
    assert '- of the kit "suspension straps" there is 1' in words
    assert "2 of suspension straps would do." in words
    assert "order" not in path.read_text(encoding="utf-8")
    facts = json.loads(run(capsys, "order", path, "--json")[1])["data"]
    assert facts["blocks"][0]["enough"] == {"suspension straps": 2}


def test_a_rotation_without_its_order_is_refused_until_share_wrote_it(tmp_path, capsys):
    path = tmp_path / "corners.toml"
    path.write_text(rotation((1, 1, 1), CORNERS), encoding="utf-8")
    code, _, err = run(capsys, "check", path)
    assert code == 1
    assert "more stations than groups (4 exercises, 3 groups), so it needs an order" in err
    assert run(capsys, "order", path, "--write")[0] == 0
    assert run(capsys, "check", path)[0] == 0
    assert WAITS not in {n for row in load_plan(path).blocks[0].order for n in row}


def test_help_has_examples(capsys):
    with pytest.raises(SystemExit):
        main(["order", "--help"])
    assert "handbell order monday.toml --by station" in capsys.readouterr().out


# What an order must agree on


def order_faults(text):
    with pytest.raises(PlanError) as caught:
        build(parsed(text))
    return caught.value.faults


ORDERS = [
    ([[1, 2, 3]] * 5, "5 lists for 6 boxes"),
    ([[1, 2, 2]] * 6, "list 1 must have each number from 1 to 3 once"),
    ([[1, 2]] * 6, "list 1 must have each number from 1 to 3 once"),
    ([[0, 1, 2, 3]] * 6, "list 1 must have each number from 1 to 3 once"),
    ([[1, 2, 3]] * 5 + [[3, 2, 1]], ""),
]


@pytest.mark.parametrize(("order", "fault"), ORDERS)
def test_orders_of_lanes(order, fault):
    text = lanes(block=f"order = {json.dumps(order)}")
    if fault:
        assert any(f"block 1, order: {fault}" in found for found in order_faults(text))
    else:
        build(parsed(text))


def test_lanes_change_together():
    text = lanes(block=f"order = {[[1, 2, 3]] * 5 + [[2, 1, 3]]}")
    found = order_faults(text.replace("work_s = 30", "work_s = 40", 1))
    assert len(found) == 2
    assert "list 6 has Strap row in place of Squat jump, whose work_s or rest_s differs" in found[0]


MOVES = [
    ([[1, 2, 3, 4], [2, 3, 4, 1]], ""),
    ([[1, 2, 3, 4]], "1 list for 2 groups"),
    ([[1, 2, 3, 4], [2, 3, 4]], "3 to 4 entries and must be equally long"),
    ([[1, 2, 3, 0], [2, 3, 4, 1]], "A must do each of 1, 2, 3, 4 once"),
    ([[1, 2, 3, 5], [2, 3, 4, 1]], "A must do each of 1, 2, 3, 4 once"),
    ([[1, 2, 3, 4], [2, 1, 3, 4]], "in step 3 2 groups are at exercise 3, with no capacity"),
]


@pytest.mark.parametrize(("order", "fault"), MOVES)
def test_orders_of_a_rotation(order, fault):
    text = rotation((1, 1), CORNERS, block=f"order = {json.dumps(order)}")
    if fault:
        assert any(fault in found for found in order_faults(text)), order_faults(text)
    else:
        build(parsed(text))


def test_more_people_than_room():
    roomy = "".join(f'[[station]]\nlabel = "{c}"\ncapacity = 3\n' for c in "WXYZ")
    order = [[1, 2, 3, 4], [1, 3, 4, 2]]
    text = rotation((2, 2), CORNERS, stations=roomy, block=f"order = {json.dumps(order)}")
    assert "in step 1 4 people are at exercise 1, with room for 3" in order_faults(text)[0]


NAMES = [
    ('never_after = [["Row", "Plank"]]', 'never_after: no exercise is called "Row"'),
    ('alternate = [["A", "B"]]', 'alternate: no group is called "A"'),
    ("never_after = 3", "never_after: 3 is no list; write pairs of names"),
    ('never_after = [["Plank"]]', "never_after: entry 1: a list is no pair"),
    ("kit = 3", "kit: 3 is no table; write [kit]"),
]


@pytest.mark.parametrize(("line", "fault"), NAMES)
def test_names_that_are_not_there(line, fault):
    text = f'title = "T"\n{line}\n[[block]]\n{exercises((TASKS[0], TASKS[2]))}'
    assert any(fault in found for found in order_faults(text)), order_faults(text)


def test_a_group_is_in_one_pair():
    text = rotation((1,) * 4, CORNERS, top='alternate = [["A", "B"], ["B", "C"]]')
    assert 'alternate: "B" is in two pairs; a group alternates with one other' in order_faults(text)


def test_a_circuit_that_no_exercise_has():
    text = rotation((1,) * 4, CORNERS).replace('name = "B"\n', 'name = "B"\ncircuit = "left"\n')
    assert 'group 2, circuit: no exercise has circuit = "left"' in order_faults(text)[0]


# From the plan to the report


def test_a_class_with_waits_is_reported_like_any_other(tmp_path, monkeypatch):
    """Every bib that was asked has its windows, and the empty box of a wait is no miss."""
    monkeypatch.setenv("HANDBELL_STORE", str(tmp_path / "store.sqlite"))
    plan = ordered(rotation((2, 2, 1, 2, 2, 1), CORNERS, top=SCARCE))
    built = build(plan)
    rng = random.Random(1)
    asked, told = set(), {}
    with open_store() as store:
        store.put_plan(plan.source, plan.title)
        for n, timeline in enumerate(built.timelines):
            rows = [row for row in box_rows(timeline.data) if row.kind == "window"]
            asked |= {(bib, row.what, row.round) for row in rows for bib in row.bibs}
            presses = [
                press
                for slot in range(plan.buttons)
                for press in classes.presses_of(rng, timeline.data, slot)
            ]
            run = classes.play(timeline.data, presses)
            store.put_timeline(timeline.data)
            store.ingest(run.journal, classes.BOX_IDS[n], (classes.START_UTC_MS + 2_000_000) * 1000)
        report = class_report(store)
    for table in report.exercises:
        for row in table.rows:
            for cell in row.cells:
                if cell.reps is not None:
                    told[row.bib, table.name, cell.round] = cell.reps
    assert len(asked) == 10 * 4 * 2
    assert told.keys() == asked
    assert min(told.values()) > 5
    assert {person.bib for person in report.people} == set(range(1, 11))


BENCHES = (("Dip", 'kit = ["bench"]\n'), ("Squat", ""))


def with_out(text, bibs):
    """The plan whose first exercise some bibs leave out."""
    own = f"[[block.exercise.scaled]]\nbibs = {list(bibs)}\nout = true\n"
    return text.replace('kit = ["bench"]\n', f'kit = ["bench"]\n{own}')


@pytest.mark.parametrize("need", ['["bench"]', "{ bench = 1 }"])
def test_who_leaves_an_exercise_out_takes_no_kit(need):
    text = rotation((2, 2), BENCHES, top="[kit]\nbench = 1")

    def shared(out):
        plan = parsed(with_out(text, out).replace('["bench"]', need))
        return orders(plan)[0]

    one_each = shared((2, 4))
    assert one_each.clash is None and not broken(one_each.demands, one_each.schedule)
    demands = shared((1, 2, 3, 4)).demands
    assert [demands.use("bench", 0, g) for g in (0, 1)] == [0, 0]
    assert not broken(dataclasses.replace(demands, kit={"bench": 0}), one_each.schedule)


def test_who_works_at_a_station_still_takes_its_kit():
    text = rotation((2, 2), BENCHES, top="[kit]\nbench = 1")
    (shared,) = orders(parsed(with_out(text, (2,))))
    assert shared.clash is not None and dict(shared.enough) == {"bench": 2}


def test_a_lane_left_out_takes_no_kit():
    text = lanes(0, 2, (("Dip", 'kit = ["bench"]\n'),), "rounds = 1").replace(
        '"suspension straps"', "bench"
    )
    assert orders(parsed(text))[0].clash is not None
    assert orders(parsed(with_out(text, (1, 2))))[0].clash is None


def test_in_a_relay_a_leg_takes_kit_unless_the_whole_group_leaves_it_out():
    groups = '[[group]]\nname = "A"\nbibs = [1, 2]\n'
    text = lanes(0, 1, (("Dip", 'kit = ["bench"]\n'),), "relay = true").replace(
        '"suspension straps"', "bench"
    )
    text = text.replace("boxes = 1", "").replace("[[block]]\n", f"{groups}[[block]]\n", 1)
    demands = [demands_of(parsed(with_out(text, out)), 0) for out in ((1,), (1, 2))]
    assert [d.use("bench", 0, 0) for d in demands] == [1, 0]


@pytest.mark.parametrize(
    ("pause", "told"), [("", True), ("break_s = 30", True), ("break_s = 60", False)]
)
def test_a_pair_from_one_block_to_the_next_is_told(pause, told):
    """``order`` looks at each block by itself; nobody recovers in a change."""
    head = 'title = "T"\nnever_after = [["Dead hang", "Pull-up"]]\n'
    first, second = (
        f'[[block.exercise]]\nname = "{name}"\nwork_s = 30\n' for name in ("Dead hang", "Pull-up")
    )
    plan = parse_plan(f"{head}[[block]]\n{pause}\n{first}[[block]]\n{second}".encode())
    said = [w for w in coach_remarks(resolve(plan), load_library()) if "never_after" in w]
    assert bool(said) == told
    assert all("block 2, exercise 1" in w and "directly after" in w for w in said)
