"""A relay by the clock: its legs go through the exercises so that everybody gets to each."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handbell.base.errors import PlanError
from handbell.coach.fit.movable import rest_sites
from handbell.coach.library.shelf import load_library
from handbell.coach.numbers.numbers import numbers_of
from handbell.coach.order import kit
from handbell.compile import build
from handbell.compile.schedule import resolve
from handbell.paper.cards import cards_of
from handbell.paper.layout import PAPERS
from handbell.paper.timetable import timetable
from handbell.plan.files import parse_plan
from handbell.plan.legs import exercise_of, moves_on
from handbell.store.logs.timelines import decode
from handbell.work.planning.whereabouts import whereabouts

LIBRARY = load_library()


def relay(sizes, exercises, block, exercise="", head=""):
    """A plan with a group of each size, bibs from 1 on, and a relay of exercises A, B, C..."""
    bibs = iter(range(1, 100))
    groups = "".join(
        f'[[group]]\nname = "G{n}"\nbibs = {[next(bibs) for _ in range(size)]}\n'
        for n, size in enumerate(sizes, 1)
    )
    tasks = "".join(f'[[block.exercise]]\nname = "{e}"\n{exercise}\n' for e in "ABCDE"[:exercises])
    return f'title = "T"\n{head}\n{groups}[[block]]\n{block}\n{tasks}'


def legs(number):
    return f'format = "relay"\nleg_s = 30\nlegs = {number}\nrest_s = 10'


def built(text):
    return build(parse_plan(text.encode()))


def done(made, lane=0, block=1):
    """Who does what in a lane: ``1A 2B 1B 2A``."""
    found = []
    for s, post in made.schedule.walk(lane):
        if s.block == block:
            (bib,) = filter(None, post.bibs(s.turn))
            found.append(f"{bib}{post.exercise.name}")
    return " ".join(found)


# The rule

FEW = st.integers(1, 12)


@given(people=FEW, exercises=FEW, first=st.integers(0, 99), times=st.integers(0, 3))
def test_everybody_gets_to_every_exercise_once_whoever_begins(people, exercises, first, times):
    whole = people * exercises
    pairs = [
        ((first + leg) % people, exercise_of(leg, people, exercises))
        for leg in range(times * whole, (times + 1) * whole)
    ]
    assert len(set(pairs)) == whole


@given(people=FEW, exercises=FEW, round_=st.integers(0, 30))
def test_a_group_does_each_exercise_once_a_round(people, exercises, round_):
    steps = range(round_ * exercises, (round_ + 1) * exercises)
    there = [exercise_of(leg, people, exercises) for leg in steps]
    assert sorted(there) == list(range(exercises))
    if round_ == 0:
        assert there == list(range(exercises))


@pytest.mark.parametrize(
    ("people", "exercises", "table"),
    [
        (2, 2, "1A 2B 1B 2A"),
        (3, 2, "1A 2B 3A 1B 2A 3B"),
        (3, 3, "1A 2B 3C 1B 2C 3A 1C 2A 3B"),
        (2, 4, "1A 2B 1C 2D 1B 2C 1D 2A"),
        (4, 2, "1A 2B 3A 4B 1B 2A 3B 4A"),
    ],
)
def test_small_tables_by_hand(people, exercises, table):
    assert done(built(relay([people], exercises, legs(people * exercises)))) == table


@settings(max_examples=40, deadline=None)
@given(
    sizes=st.lists(st.integers(1, 5), min_size=1, max_size=3),
    exercises=st.integers(1, 4),
    before=st.integers(0, 6),
)
def test_in_a_class_too_wherever_the_turns_begin(sizes, exercises, before):
    """A relay of one exercise before it moves on who begins."""
    most = max(sizes)
    text = relay(sizes, exercises, legs(most * exercises))
    if before:
        first = f"[[block]]\n{legs(before)}\n[[block.exercise]]\nname = 'Z'\n[[block]]\n"
        text = text.replace("[[block]]\n", first, 1)
    made = built(text)
    for lane, size in enumerate(sizes):
        pairs = done(made, lane, 2 if before else 1).split()[: size * exercises]
        assert len(set(pairs)) == size * exercises


# Where legs keep their order


PAIR = 'never_after = [["B", "A"]]'


@pytest.mark.parametrize(
    ("sizes", "block", "head", "kept"),
    [
        ([2], "", "", False),
        ([2], "order = [[1, 2]]", "", True),
        ([2], "", PAIR, False),  # the others have legs between
        ([2, 1], "", PAIR, False),
    ],
)
def test_what_the_plan_says_of_the_order_comes_first(sizes, block, head, kept):
    made = built(relay(sizes, 2, f"relay = true\nrounds = 2\n{block}", "work_s = [30, 40]", head))
    assert done(made) == ("1A 2B 1A 2B" if kept else "1A 2B 1B 2A")
    assert not [w for w in made.warnings if "directly after" in w]


@pytest.mark.parametrize("key", ["work_s = 40", "work_s = [30, 40]", "work_s = 30\nrest_s = 5"])
def test_exercises_of_other_lengths_keep_their_order(key):
    text = relay([2], 2, "relay = true\nrounds = 2", "work_s = 30")
    head, last = text.rsplit("work_s = 30", 1)
    assert done(built(f"{head}{key}{last}")) == "1A 2B 1A 2B"


def test_never_after_of_other_exercises_is_no_matter():
    head = 'never_after = [["A", "Z"]]'
    text = relay([2], 2, legs(4), head=head) + "[[block]]\n[[block.exercise]]\nname = 'Z'\n"
    assert done(built(f"{text}work_s = 30\n")) == "1A 2B 1B 2A"


# What a leg takes of a list, and times


def test_a_leg_takes_the_lists_entry_of_its_round():
    """Two exercises: legs 1 and 2 are round 1, so both exercises are done once with each entry."""
    text = relay([2], 2, f"{legs(4)}", "reps = [10, 6]")
    windows = decode(built(text).timelines[0].data).windows.values()
    assert [(w.name, w.round, w.goal) for w in windows] == [
        ("A", 1, 10),
        ("B", 1, 10),
        ("B", 2, 6),
        ("A", 2, 6),
    ]


@pytest.mark.parametrize("more", ["", "round_rest_s = 20\nrest_after_last = true"])
def test_times_are_those_of_legs_in_one_order(more):
    block = f"relay = true\nrounds = 4\nrest_s = 10\nchange_s = 5\n{more}"
    moved, kept = (
        built(relay([2, 3], 2, block + order, "work_s = [30, 20, 30, 40]"))
        for order in ("", "\norder = [[1, 2], [1, 2]]")
    )
    assert moved.totals == kept.totals
    assert [(s.kind, s.start_ms, s.round) for s in moved.schedule.stretches] == [
        (s.kind, s.start_ms, s.round) for s in kept.schedule.stretches
    ]


def test_everybody_works_as_much_of_everything():
    """Two people, two exercises, eight legs of 30 s: each has two windows at each."""
    (share,) = numbers_of(built(relay([2], 2, legs(8), "reps = 5")), LIBRARY).shares
    assert share.who == ("G1 (bib 1)", "G1 (bib 2)")
    assert [(e.name, e.windows, e.asked) for e in share.exercises] == [("A", 2, 10), ("B", 2, 10)]


def test_a_tally_needs_its_rest_wherever_a_leg_takes_it():
    """A is at the end too when people and exercises have begun again together, in four legs."""
    two = relay([2], 2, "relay = true\nrounds = 2\nrest_s = 15", "work_s = 30")
    text = two.replace('name = "A"', 'name = "A"\ntap = "tally"')
    with pytest.raises(PlanError, match="the block's last window has none"):
        parse_plan(text.encode())
    parse_plan(text.replace("[1, 2]", "[1, 2, 3]").encode())  # ends with B, as it is written
    parse_plan(text.replace("rounds = 2", "rounds = 2\nrest_after_last = true").encode())


# Lanes beside one another


def test_lanes_are_alike_when_their_legs_are():
    """By hand: of 8 legs of 4 exercises 2 and 4 people leave one out after 4, 3 and 1 never do."""
    schedule = built(relay([2, 3, 4, 1], 4, legs(8))).schedule
    assert schedule.alike == [0, 1, 0, 1] and schedule.mixed == [True]
    short = built(relay([2, 3, 4, 1], 4, legs(4))).schedule
    assert short.alike == [0, 0, 0, 0] and short.mixed == [False]
    one = built(relay([2, 3], 1, legs(4))).schedule
    assert one.alike == [0, 0] and one.mixed == [False]


@settings(max_examples=60, deadline=None)
@given(
    sizes=st.lists(st.integers(1, 6), min_size=1, max_size=4),
    exercises=st.integers(1, 4),
    rounds=st.integers(1, 6),
)
def test_lanes_are_alike_exactly_when_they_do_the_same(sizes, exercises, rounds):
    schedule = built(relay(sizes, exercises, legs(rounds * exercises))).schedule
    ways = [[post.number for _, post in schedule.walk(lane)] for lane in range(len(sizes))]
    assert schedule.alike == [ways.index(way) for way in ways]
    assert schedule.mixed == [len({*map(tuple, ways)}) > 1]


def test_the_timetable_says_what_each_lane_does():
    """After two legs the lane of two goes on with B; that of three goes on as before."""
    made = built(relay([2, 3], 2, legs(4)))
    rows = [row for row in made.timetable if row.kind == "window"]
    assert [row.what for row in rows] == ["block 1"] * 4
    assert [[cell.what for cell in row.stations] for row in rows] == [
        ["A", "A"],
        ["B", "B"],
        ["B", "A"],
        ["A", "B"],
    ]
    assert [where.stations for where in whereabouts(made).windows][2] == ("B, 1", "A, 5")
    alike = built(relay([2, 2], 2, legs(4)))
    rows = [row for row in alike.timetable if row.kind == "window"]
    assert [row.what for row in rows] == ["A", "B", "B", "A"]


def test_the_printed_timetable_has_each_start_once():
    paper = PAPERS["a4"]
    part = timetable(built(relay([2, 2], 2, legs(4))), LIBRARY, paper, "").parts[1]
    assert [row[:2] for row in part.rows] == [("0:10, 2:10", "A"), ("0:50, 1:30", "B")]
    part = timetable(built(relay([2, 3], 2, legs(8))), LIBRARY, paper, "").parts[1]
    assert part.rows == (
        ("0:10, 2:50", "A", "A"),
        ("0:50, 3:30", "B", "B"),
        ("1:30, 4:10", "B", "A"),
        ("2:10, 4:50", "A", "B"),
    )


def test_a_lanes_card_lists_each_exercise_once():
    lane = cards_of(built(relay([2, 3], 2, legs(12))), LIBRARY)[0]
    assert [line.name for line in lane.blocks[0].exercises] == ["A", "B"]


def test_kit_is_told_once_a_round():
    text = relay([2, 3], 2, legs(12), "", "[kit]\nsled = 1")
    text = text.replace('name = "A"', 'name = "A"\nkit = ["sled"]')
    schedule = resolve(parse_plan(text.encode()))
    assert kit.faults(schedule) == [(0, "step 1: 2 of sled in use, of 1")]


def test_fit_moves_no_rest_alone_where_legs_go_through_the_exercises():
    """Else the exercises last unlike one another, and legs would keep one order."""
    text = relay([2], 2, "relay = true\nrounds = 2", "work_s = 30").replace(
        'name = "B"', 'name = "B"\nrest_s = 0'
    )
    plan = parse_plan(text.encode())
    assert moves_on(plan, plan.blocks[0])
    assert rest_sites(plan, 0, 2) == ()
