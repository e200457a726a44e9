"""What stays of an order where people are spared at its ends: short waits, and most lanes' rows."""

import itertools

import pytest
from ordered import block, breaking, ordered, plan, with_orders

from handbell.coach.library.shelf import load_library
from handbell.coach.order.better import better
from handbell.coach.order.kit import orders

ROTATION = 'layout = "rotation"\nchange_s = 10\n'
KEYS = "rest_s = 10\nbreak_s = 10\n"


def circle(stations, groups):
    """Rows of groups that go round, with waits as even as can be."""
    row = [0] * groups
    for n in range(stations):
        row[n * groups // stations] = n + 1
    return [row[g:] + row[:g] for g in range(groups)]


def longest(order):
    """The longest wait of anybody in an order as a plan writes it."""
    runs = ((n, len(list(run))) for row in order for n, run in itertools.groupby(row))
    return max((length for number, length in runs if not number), default=0)


WAITING = [
    (
        8,
        (("Row", "Bridge"), ("Bridge", "Squat"), ("Burpee", "Squat")),
        ("Crunch", "Row", "Burpee", "Bridge"),
        ("Squat", "Dip", "Crunch", "Lunge"),
    ),
    (5, (("Lunge", "Crunch"),), ("Lunge", "Push-up", "Dip"), ("Dip", "Crunch", "Lunge")),
]


@pytest.mark.parametrize("is_written", [True, False])
@pytest.mark.parametrize(("groups", "pairs", "first", "second"), WAITING)
def test_nobody_waits_longer_on_end_so_that_people_are_spared(
    groups, pairs, first, second, is_written
):
    """Others begin where the rule doesn't matter, and all go round as they would have."""
    circles = [circle(len(names), groups) for names in (first, second)]
    written, there = (
        plan(
            pairs,
            *(
                block(*names, keys=KEYS, order=order if said else None, work_s=15)
                for names, order in zip((first, second), circles, strict=True)
            ),
            head=ROTATION,
            sizes=(1,) * groups,
        )
        for said in (True, is_written)
    )
    assert breaking(written) > 0
    assert breaking(ordered(there)) == 0
    for shared, rows in zip(orders(there), circles, strict=True):
        assert longest(shared.order) <= longest(rows)


def test_who_can_begin_elsewhere_still_moves_on_from_station_to_station():
    names = ("Squat", "Dip", "Bridge", "Crunch", "Burpee")
    more = ("Push-up", "Bridge", "Row", "Crunch", "Dip")
    there = plan(
        (("Dip", "Row"), ("Dip", "Crunch")),
        *(block(*some, keys=KEYS, work_s=30) for some in (names, more)),
        head=ROTATION,
        sizes=(1,) * 5,
    )
    assert breaking(there) == 1
    found = ordered(there)
    assert breaking(found) == 0
    moves = {
        pair for b in found.blocks for row in b.order or () for pair in itertools.pairwise(row)
    }
    assert moves <= {(n, n % 5 + 1) for n in range(1, 6)}


FIRST = block("Burpee", keys="rest_s = 10\nbreak_s = 30\n")
TASKS = ("Rowing", "Push-up", "Lunge", "Bridge")


@pytest.mark.parametrize(
    ("pair", "order"),
    [
        (("Burpee", "Push-up"), ([1, 2, 3, 4], [2, 3, 4, 1], [3, 4, 1, 2])),
        (("Bridge", "Push-up"), ([1, 2, 3, 4], [2, 3, 4, 1], [3, 1, 4, 2])),
    ],
)
def test_one_lane_that_breaks_a_rule_leaves_the_others_as_written(pair, order):
    """By what it begins with, or within the block; and still no two are at the rower at once."""
    there = plan((pair,), FIRST, block(*TASKS, keys="rest_s = 20\nrounds = 2\n", order=order))
    assert breaking(there) == 1
    found = ordered(there)
    assert breaking(found) == 0
    now = found.blocks[1].order
    assert sum(list(row) == was for row, was in zip(now, order, strict=True)) == 2
    assert len({row.index(1) for row in now}) == 3


def test_lanes_that_go_round_begin_further_on_in_what_is_written():
    """Not in the order of the list: the lane goes on as it was to."""
    order = ([4, 3, 2, 1], [2, 4, 1, 3], [1, 2, 4, 3])
    there = plan((("Burpee", "Push-up"),), FIRST, block(*TASKS, order=order))
    now = ordered(there).blocks[1].order
    assert now == ((4, 3, 2, 1), (4, 1, 3, 2), (1, 2, 4, 3))


@pytest.mark.parametrize("head", ["", ROTATION])
def test_what_tires_the_same_is_no_reason_to_leave_what_is_written(head):
    """The plan has push-ups one after the other; only who ends with some has to change."""
    order = ((1, 2, 3, 4), (3, 4, 1, 2), (2, 3, 4, 1), (4, 1, 2, 3))
    last = ("Crunch", "Bridge", "Burpee", "Row") if head else ("Burpee",)
    there = plan(
        (("Push-up", "Burpee"),),
        block("Push-up", "Wall push-up", "Squat", "Dead bug", keys=KEYS, order=order),
        block(*last),
        head=head,
        sizes=(1,) * 4,
    )
    found = orders(there)[0]
    assert found.order != order
    more = better(there, found, load_library())
    assert more.shared.order == found.order
    assert more.alike > 0
    if not head:
        assert [row for row, was in zip(found.order, order, strict=True) if row == was] == [
            order[n] for n in (0, 1, 3)
        ]


OUT = "[[block.exercise.scaled]]\nbibs = {}\nout = true\n"


def test_no_more_people_break_a_rule_than_in_the_order_of_the_plan():
    """Who leaves an exercise out does the next one directly after the one before."""
    there = plan(
        (("Crunch", "Squat"),),
        block("Crunch", "Burpee", keys="rest_s = 5\nbreak_s = 10\n", work_s=10) + OUT.format([2]),
        block("Squat", "Push-up", order=[[2, 1], [1, 2]], work_s=10) + OUT.format([1, 2]),
        head=ROTATION,
        sizes=(1, 1),
    )
    assert breaking(there) == 1
    assert ordered(there) == there


def test_nor_do_they_so_that_less_of_what_tires_the_same_follows():
    there = plan(
        (("Burpee", "Plank"), ("Push-up", "Plank")),
        block("Plank", keys="rest_s = 5\n", work_s=15)
        + OUT.format([1])
        + block("Squat", "Burpee", keys="", work_s=15).removeprefix("[[block]]\n")
        + OUT.format([4])
        + block("Push-up", keys="", work_s=15).removeprefix("[[block]]\n"),
        head=ROTATION,
        sizes=(1,) * 4,
    )
    found = orders(there)[0]
    assert breaking(with_orders(there, [found.order])) == 0
    more = better(there, found, load_library())
    assert breaking(with_orders(there, [more.shared.order])) == 0


def test_what_a_later_block_makes_possible_is_found_at_once():
    """The first ends well as soon as the second, which kit rearranges, begins with another."""
    there = plan(
        (
            ("Bench dip", "Bent-over row"),
            ("Bent-over row", "Push-up"),
            ("Bent-over row", "Lunge"),
            ("Lunge", "Push-up"),
        ),
        block("Bridge", "Lunge", "Burpee", keys="rest_s = 10\nrounds = 2\nbreak_s = 0\n").replace(
            '"Lunge"\nwork_s = 20\n',
            '"Lunge"\nwork_s = 20\n[[block.exercise.scaled]]\nbibs = [1]\nname = "Squat"\n',
        ),
        block("Burpee", "Squat", "Bench dip", keys="rest_s = 10\nrounds = 2\nbreak_s = 10\n"),
        block("Push-up", "Bent-over row", "Bench dip", keys="rest_s = 10\nrounds = 2\n").replace(
            '"Push-up"\n', '"Push-up"\nkit = ["strap"]\n'
        ),
        head="[kit]\nstrap = 1\n",
    )
    now = ordered(there)
    assert ordered(now) == now
    assert breaking(now) == 0
