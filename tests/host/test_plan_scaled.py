"""What some bibs are asked for instead: read, checked, compiled, counted on the real firmware."""

import io

import pytest

from handbell.base.errors import PlanError
from handbell.compile import build
from handbell.plan.files import parse_plan
from handbell.store.logs.timelines import decode
from handbell_core import timeline as t

PLAN = """
title = "Own"
buttons = 2
turns = "window"
[[group]]
name = "Red"
bibs = [7, 8]
[[group]]
name = "Blue"
bibs = [9, 10, 11]
[[block]]
rounds = 2
rest_s = 15
  [[block.exercise]]
  name = "Push-up"
  work_s = 30
  reps = [12, 8]
  tap = "finish"
    [[block.exercise.scaled]]
    bibs = [8, 11]
    name = "Knee push-up"
    reps = [10, 6]
    [[block.exercise.scaled]]
    bibs = [9]
    hold = true
    name = "Plank"
  [[block.exercise]]
  name = "Squat"
  work_s = 30
"""


def class_of(text):
    return build(parse_plan(text.encode(), "own.toml"))


def windows_of(data):
    return decode(data).windows


def test_a_bib_gets_its_own_task_in_its_own_slot():
    built = class_of(PLAN)
    red = windows_of(built.timelines[0].data)
    first = red[1]
    assert first.bibs[:2] == (7, 8)
    assert (first.name, first.goal, first.at(0).goal) == ("Push-up", 12, 12)
    mine = first.of(8)
    assert (mine.name, mine.ask, mine.tap, mine.goal) == (
        "Knee push-up",
        t.ASK_TARGET,
        t.TAP_FINISH,
        10,
    )
    assert red[3].of(8).goal == 6  # the second round
    assert red[2].own in ((), (None,) * 4)


def test_turns_take_their_tasks_along():
    blue = windows_of(class_of(PLAN).timelines[1].data)
    seen = {}
    for window in blue.values():
        for bib in window.bibs:
            if bib and window.item == 1:
                seen[bib, window.round] = window.of(bib).name
    assert {name for (bib, _), name in seen.items() if bib == 9} <= {"Plank"}
    assert {name for (bib, _), name in seen.items() if bib == 11} <= {"Knee push-up"}
    assert {name for (bib, _), name in seen.items() if bib == 10} <= {"Push-up"}


def test_a_plan_without_own_tasks_compiles_to_the_format_before():
    text = (
        PLAN[: PLAN.index("    [[block.exercise.scaled]]")]
        + PLAN[PLAN.index('  [[block.exercise]]\n  name = "Squat"') :]
    )
    for timeline in class_of(text).timelines:
        assert timeline.data[4] == 1
    for timeline in class_of(PLAN).timelines:
        head = t.verify(io.BytesIO(timeline.data))
        assert timeline.data[4] == 2 and head.own_tasks > 0


def test_what_is_not_said_is_as_for_the_others():
    text = PLAN.replace('    name = "Knee push-up"\n    reps = [10, 6]\n', '    tap = "each"\n')
    mine = windows_of(class_of(text).timelines[0].data)[1].of(8)
    assert (mine.name, mine.goal, mine.tap) == ("Push-up", 12, t.TAP_EACH)


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("bibs = [8, 11]", "bibs = [8, 12]", "bib 12 is in no group; take it out"),
        ("bibs = [9]", "bibs = [9, 8]", "bib 8 has its own task in scaled 1 already"),
        ("reps = [10, 6]", "reps = [10, 6, 4]", "3 entries for 2 rounds"),
        ("reps = [10, 6]", "goal = 10\n    reps = 4", "a target or a goal, not both"),
        ("hold = true\n    name", 'tap = "tally"\n    name', '"tally" is for everybody'),
        ('    hold = true\n    name = "Plank"\n', "", "it changes nothing"),
        ("hold = true\n    name", "holds = true\n    name", "did you mean hold?"),
    ],
)  # fmt: skip
def test_every_fault_names_its_place(old, new, fault):
    assert old in PLAN
    with pytest.raises(PlanError) as caught:
        class_of(PLAN.replace(old, new, 1))
    assert len(caught.value.faults) == 1
    assert (
        "block 1, exercise 1, scaled" in caught.value.faults[0] and fault in caught.value.faults[0]
    )
