"""How often a walk past the boxes meets a mark: the formula against walks made by chance."""

import random

import pytest

from handbell.boxes.clocks.marks import Walk
from handbell.cli.main import main
from handbell_core.clock import next_on_grid

WALKS = 20_000


@pytest.mark.parametrize(
    "boxes, grid_s", [(2, 5), (2, 300), (4, 30), (6, 30), (7, 30), (12, 60), (24, 30), (24, 300)]
)
def test_as_many_walks_part_as_the_formula_says(boxes, grid_s):
    """Each box is pressed as the core would have it, and takes the core's own next mark."""
    rng = random.Random(boxes * 1000 + grid_s)
    walk = Walk(boxes, grid_s)
    parted, most_ms = 0, 0
    for _ in range(WALKS):
        began_ms = rng.randrange(1_790_000_000_000, 1_790_000_000_000 + 10**8)
        marks = [next_on_grid(began_ms + n * 5_000, grid_s * 1000) for n in range(boxes)]
        parted += len(set(marks)) > 1
        most_ms = max(most_ms, marks[-1] - marks[0])
    spread = (walk.chance * (1 - walk.chance) / WALKS) ** 0.5
    assert abs(parted / WALKS - walk.chance) <= 4 * spread
    assert most_ms == walk.apart_most_s * 1000


def test_six_boxes_four_seconds_apart_part_two_times_in_three():
    rng = random.Random(6)
    walk = Walk(6, 30, 4)
    assert walk.chance == pytest.approx(2 / 3)
    parted = 0
    for _ in range(WALKS):
        at_ms = rng.randrange(10**8)
        parted += len({next_on_grid(at_ms + n * 4_000, 30_000) for n in range(6)}) > 1
    assert parted / WALKS == pytest.approx(walk.chance, abs=0.015)


def test_people_who_walk_unevenly_part_as_often_as_their_walks_are_long():
    """The formula needs the walk's length only: its mean counts while no walk outlasts a step."""
    rng = random.Random(7)
    parted = walked_s = 0.0
    for _ in range(WALKS):
        at_ms = rng.randrange(10**8)
        presses = [at_ms]
        for _ in range(5):
            presses.append(presses[-1] + rng.randrange(2_000, 7_000))
        walked_s += (presses[-1] - at_ms) / 1000 / WALKS
        parted += len({next_on_grid(ms, 60_000) for ms in presses}) > 1
    assert parted / WALKS == pytest.approx(Walk(6, 60, walked_s / 5).chance, abs=0.015)


@pytest.mark.parametrize(
    "boxes, grid_s, said",
    [
        (12, 60, "about 9 times in 10 some boxes take the next mark and ring 60 s later"),
        (4, 30, "about 5 times in 10 some boxes take the next mark and ring 30 s later"),
        (2, 300, "about 1 time in 60 some boxes take the next mark and ring 300 s later"),
        (2, 30, "about 2 times in 10"),
        (24, 30, "every time some boxes take a later mark and ring up to 120 s later"),
        (30, 150, "nearly every time some boxes take the next mark"),
    ],
)
def test_it_is_told_in_times_out_of_ten(boxes, grid_s, said):
    words = Walk(boxes, grid_s).words()
    assert said in words and "look at every screen for the same count" in words
    assert words.startswith(f"5 s a box: {boxes} boxes take {5 * (boxes - 1)} s to press;")


def test_one_box_parts_from_nobody():
    assert Walk(1, 30).chance == 0 and Walk(1, 30).words() == ""


PLAN = """
title = "Four"
boxes = {boxes}
grid_s = 60
[[block]]
{gate}
  [[block.exercise]]
  name = "Squat"
  work_s = 30
"""


@pytest.mark.parametrize("gate, said", [("gate = true", "At a gate, and started"), ("", "Started")])
def test_check_says_how_often_boxes_part(tmp_path, capsys, gate, said):
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN.format(boxes=12, gate=gate), encoding="utf-8")
    assert main(["check", str(plan)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert f"{said} by hand: 5 s a box: 12 boxes take 55 s to press" in out
    assert "about 9 times in 10" in out
    plan.write_text(PLAN.format(boxes=1, gate=gate), encoding="utf-8")
    assert main(["check", str(plan)]) == 0
    assert "by hand" not in capsys.readouterr().out
