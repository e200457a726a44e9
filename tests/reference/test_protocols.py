"""Totals of interval protocols published elsewhere, each with its source beside it.

Grades: *read* was seen in the source or its abstract, *quoted* in somebody's quotation of it,
*memory* is unseen, *common practice* a fact of the trade without a source. Sums are computed.
"""

import pytest
from made_plans import EXAMPLES

from handbell.compile import build
from handbell.plan.files import load_plan, parse_plan


def total_s(text):
    total_ms = build(parse_plan(text.encode())).totals.total_ms
    assert total_ms % 1000 == 0
    return total_ms // 1000


def intervals(rounds, work_s, rest_s, last=False):
    return f"""
title = "Intervals"
[[block]]
rounds = {rounds}
rest_s = {rest_s}
rest_after_last = {str(last).lower()}
[[block.exercise]]
name = "Bike"
work_s = {work_s}
"""


# A three-block circuit, 3 exercises x 30 s x 3 rounds a block, no rest inside a block: 930 s with
# 60 s between blocks, 870 s with 30 s. Common practice, no source.
@pytest.mark.parametrize(("break_s", "seconds"), [(60, 930), (30, 870)])
def test_three_block_circuit(break_s, seconds):
    text = EXAMPLES["three-block"].read_text(encoding="utf-8")
    assert "break_s = 60" in text
    assert total_s(text.replace("break_s = 60", f"break_s = {break_s}")) == seconds


def test_three_block_example_is_exact():
    assert build(load_plan(EXAMPLES["three-block"])).totals.total_ms == 930_000


# Tabata et al. 1996, Med Sci Sports Exerc 28(10):1327-1330: 7 to 8 sets of 20 s work and 10 s rest
# (read, abstract).
@pytest.mark.parametrize(
    ("sets", "last", "seconds"), [(8, False, 230), (8, True, 240), (7, False, 200), (7, True, 210)]
)
def test_twenty_ten(sets, last, seconds):
    assert total_s(intervals(sets, 20, 10, last)) == seconds


# Helgerud et al. 2007, Med Sci Sports Exerc 39(4):665-671: 4 x 4 min with 3 min active rest
# between (read, abstract).
@pytest.mark.parametrize(("last", "seconds"), [(False, 1500), (True, 1680)])
def test_four_by_four(last, seconds):
    assert total_s(intervals(4, 240, 180, last)) == seconds


# The same study: 15 s work and 15 s active rest (read, abstract); 47 repetitions (memory).
def test_fifteen_fifteen():
    assert total_s(intervals(47, 15, 15)) == 1395


# Gibala, Sports Science Exchange 139: 10 x 60 s with 60 s recovery (read).
@pytest.mark.parametrize(("last", "seconds"), [(False, 1140), (True, 1200)])
def test_ten_by_sixty(last, seconds):
    assert total_s(intervals(10, 60, 60, last)) == seconds


def twelve(rounds, between):
    exercises = "".join(
        f'[[block.exercise]]\nname = "Exercise {n}"\nwork_s = 30\n' for n in range(1, 13)
    )
    return f'title = "Twelve"\n[[block]]\nrounds = {rounds}\n{between}\n{exercises}'


# Klika & Jordan 2013, ACSM's Health & Fitness Journal 17(3):8-13: 12 exercises of 30 s with 10 s
# transitions (quoted). A last transition is a rest that is kept, since nothing comes to change to.
@pytest.mark.parametrize(
    ("rounds", "between", "seconds"),
    [
        (1, "change_s = 10", 470),
        (1, "rest_s = 10\nrest_after_last = true", 480),
        (3, "change_s = 10", 1430),
    ],
)
def test_twelve_exercises(rounds, between, seconds):
    assert total_s(twelve(rounds, between)) == seconds


# Every minute on the minute is a window of 60 s with a target (common practice, no source).
def test_every_minute_on_the_minute():
    assert total_s(intervals(10, 60, 0).replace("rest_s = 0", "")) == 600
