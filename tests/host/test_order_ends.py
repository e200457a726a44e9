"""How a found order begins and ends: as few people as can be break a rule towards other blocks."""

import itertools
import random

import pytest
from ordered import block, breaking, ordered, plan, with_orders

from handbell.base.errors import PlanError
from handbell.coach.order.demands import Schedule
from handbell.coach.order.kit import demands_of, orders
from handbell.coach.order.verify import broken
from handbell.plan.files import parse_plan

ROTATION = 'layout = "rotation"\nchange_s = 5\n'


def test_groups_that_begin_well_are_not_given_up_for_fewer_people():
    """Only one group can begin with the step-up, and the plan lets the wrong people have it."""
    there = plan(
        (("Bridge", "Squat"), ("Bridge", "Dead bug")),
        block("Bridge", keys="rest_s = 10\nbreak_s = 10\n"),
        block("Squat", "Dead bug", "Step-up", order=[[1, 3, 2], [3, 2, 1], [3, 2, 1]]),
        sizes=(3, 2, 2),
        tail="[kit]\nbench = 4\n",
    )
    said = there.source + b'kit = ["bench"]\n'
    there = parse_plan(said)
    assert breaking(there) == 3
    assert breaking(ordered(there)) == 3
    assert ordered(there) == there


def test_the_fewest_people_count_not_the_fewest_groups():
    """Of two groups one must begin with the squat: better the small one."""
    there = plan(
        (("Bridge", "Squat"), ("Plank", "Squat")),
        block("Bridge", "Plank", keys="rest_s = 10\nbreak_s = 10\n"),
        block("Squat", "Lunge", order=[[2, 1], [1, 2]]),
        head=ROTATION,
        sizes=(1, 4),
    )
    assert breaking(there) == 4
    assert breaking(ordered(there)) == 1


def test_an_order_that_spares_nobody_stays():
    """Whoever begins with the first two comes from a block that they should not follow."""
    firsts = [f"B{n}" for n in range(6)]
    there = plan(
        [(one, other) for one in firsts for other in ("A0", "A1")],
        block(*firsts),
        block(*(f"A{n}" for n in range(6))),
        head=ROTATION,
        sizes=(1,) * 6,
    )
    assert breaking(there) == 2
    assert [shared.order for shared in orders(there)] == [None, None]


WAITS = [
    (
        (("Burpee", "Push-up"),),
        block("Squat", "Burpee", keys="", order=[[1, 2, 0], [2, 0, 1], [0, 1, 2]]),
        block("Plank", "Push-up", keys="", order=[[2, 1, 0], [0, 2, 1], [1, 0, 2]]),
        0,
    ),
    (
        (("Row", "Dip"),),
        block(
            "Dip",
            "Row",
            keys="rest_s = 10\nbreak_s = 0\nrounds = 2\n",
            order=[[0, 1, 2], [2, 0, 1], [1, 2, 0]],
        ),
        block("Dip", "Squat", order=[[1, 2, 0], [2, 0, 1], [0, 1, 2]]),
        0,
    ),
    (
        (("Burpee", "Lunge"), ("Burpee", "Bridge")),
        block(
            "Burpee",
            "Plank",
            keys="rest_s = 10\nbreak_s = 0\nrounds = 2\n",
            order=[[2, 0, 1], [1, 2, 0], [0, 1, 2]],
        ),
        block("Lunge", "Bridge", order=[[1, 2, 0], [0, 1, 2], [2, 0, 1]]),
        1,  # somebody ends with the burpee, and all begin with what it rules out
    ),
]


@pytest.mark.parametrize(("pairs", "first", "second", "left"), WAITS)
def test_a_wait_of_less_than_a_minute_is_looked_past(pairs, first, second, left):
    there = plan(pairs, first, second, head=ROTATION)
    assert breaking(there) > 0
    assert breaking(ordered(there)) == left


@pytest.mark.parametrize(("work_s", "stays"), [(30, False), (55, True)])
@pytest.mark.parametrize("move", ["", 'move = "round"\n'])
def test_a_wait_of_a_minute_parts_two_blocks(work_s, stays, move):
    """The wait and the change beside it last a minute with windows of 55 s."""
    there = plan(
        (("Burpee", "Push-up"),),
        block("Squat", "Burpee", keys="", order=[[1, 2, 0], [2, 0, 1], [0, 1, 2]], work_s=work_s),
        block("Plank", "Push-up", keys="", order=[[2, 1, 0], [1, 0, 2], [0, 2, 1]], work_s=work_s),
        head=ROTATION + move,
    )
    assert (ordered(there) == there) == stays
    assert breaking(ordered(there)) == 0


NAMES = ("Squat", "Lunge", "Bridge", "Plank", "Burpee")


@pytest.mark.parametrize("seed", range(20))
def test_no_order_of_the_last_block_would_spare_more(seed):
    """Against all orders of as many steps, with waits: the rotation is small enough to try them."""
    dice = random.Random(seed)
    rows = [[1, 2, 0], [2, 0, 1], [0, 1, 2]]
    names = [dice.sample(NAMES, 2) for _ in range(2)]
    used = sorted({name for some in names for name in some})
    rules = {tuple(dice.sample(used, 2)) for _ in range(4)}
    made = [
        block(
            *some,
            keys=f"rest_s = 10\nrounds = {dice.randint(1, 2)}\nbreak_s = {dice.choice([0, 10])}\n",
            order=dice.sample(rows, 3),
            work_s=dice.choice([20, 40]),
        )
        for some in names
    ]
    there = plan(rules, *made, head=ROTATION, sizes=(1, 2, 1))
    found = orders(there)
    if any(shared.clash for shared in found):
        pytest.skip("no order keeps the rules within a block")
    now = breaking(with_orders(there, [shared.order for shared in found]))
    assert now <= breaking(there)
    last, inside = found[-1], demands_of(there, 1)
    every = set(itertools.permutations([0, 1, *[-1] * (last.schedule.steps - 2)]))
    for places in itertools.product(every, repeat=3):
        if not now or broken(inside, Schedule(places, shortest=False)):
            continue
        order = tuple(tuple(place + 1 for place in row) for row in places)
        try:
            assert now <= breaking(with_orders(there, [found[0].order, order]))
        except PlanError:
            continue
