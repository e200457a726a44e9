"""Remedies that say what was meant: both sides, kit with a blank, every, remarks, days, minutes."""

import re

import pytest

from handbell.base.errors import PlanError, UsageError
from handbell.cli.shared import slot_ms
from handbell.plan.files import parse_plan
from handbell.plan.slips import mended
from handbell.work.in_class.starts import parsed

HEAD = 'title = "T"\n[[block]]\n[[block.exercise]]\nname = "Lunge"\nwork_s = 30\n'


@pytest.mark.parametrize(
    "said", ["10 each side", "10/10", "10 / 10", "10 per leg", "10 reps each side", "10/side"]
)
def test_reps_for_each_side_are_their_sum(said):
    slips, text = mended(f"{HEAD}reps = {said}\n")
    assert slips[0].instead == "reps = 20\nboth_sides = true"
    exercise = parse_plan(text.encode()).blocks[0].exercises[0]
    assert exercise.reps.values == (20,) and exercise.both_sides


@pytest.mark.parametrize(
    ("said", "instead"), [("10/8", "reps = [10, 8]"), ("10 reps", "reps = 10")]
)
def test_other_reps_are_not(said, instead):
    assert mended(f"{HEAD}reps = {said}\n")[0][0].instead == instead


GROUP = '[[group]]\nname = "A"\nbibs = [2]\n'
BELOW = "[[block.exercise.scaled]]\nbibs = [2]\n"
LIST = """title = "T"
[[block]]
name = "The list"
format = "as-many-rounds"
minutes = 6
[[block.exercise]]
name = "Squat"
reps = 5
[[block.exercise]]
name = "Lunge"
"""
SAID = ["10 each side", '"10 each side"', "'10/10'", '"10 per leg"']


def as_told(text, key="reps"):
    """Return the faults of a plan, and the plan once the lines they propose are in it."""
    with pytest.raises(PlanError) as told:
        parse_plan(text.encode())
    (fault,) = told.value.faults
    (at,) = [n for n, line in enumerate(text.split("\n")) if "10" in line]
    told_whole = fault.replace("write 20", f"write {key} = 20")
    lines = re.findall(r"(?:reps|goal) = 20|both_sides = true", told_whole)
    return lines, parse_plan(
        "\n".join([*text.split("\n")[:at], *lines, *text.split("\n")[at + 1 :]]).encode()
    )


@pytest.mark.parametrize("said", SAID)
@pytest.mark.parametrize("key", ["reps", "goal"])
def test_reps_for_each_side_of_an_exercise_have_a_key_beside_them(said, key):
    lines, plan = as_told(f"{HEAD}{key} = {said}\n", key)
    assert lines == [f"{key} = 20", "both_sides = true"]
    assert plan.blocks[0].exercises[0].both_sides


@pytest.mark.parametrize("said", SAID)
def test_reps_for_each_side_of_single_bibs_are_a_sum_alone(said):
    lines, plan = as_told(f"{HEAD}{BELOW}reps = {said}\n{GROUP}")
    assert lines == ["reps = 20"], "both_sides is no key of a scaled table"
    assert plan.blocks[0].exercises[0].scaled[0].reps.values == (20,)


@pytest.mark.parametrize("said", SAID)
def test_reps_for_each_side_in_a_list_gone_through_have_a_key_beside_them(said):
    lines, plan = as_told(f"{LIST}reps = {said}\n")
    assert lines == ["reps = 20", "both_sides = true"]
    assert plan.blocks[0].exercises[0].parts[1].words == "20 Lunge (both sides)"


def test_sides_that_are_said_already_are_not_said_twice():
    text = f"{HEAD}reps = 10 each side\nboth_sides = true\nnote = 'slow'\n{BELOW}reps = 5\n{GROUP}"
    slips, right = mended(text)
    assert [slip.instead for slip in slips] == ["reps = 20"]
    assert parse_plan(right.encode()).blocks[0].exercises[0].both_sides


def test_kit_with_a_blank_stands_in_quotes():
    slips, text = mended(f"{HEAD}[kit]\nsuspension straps = 2\n")
    assert slips[0].instead == '"suspension straps" = 2'
    assert parse_plan(text.encode()).kit == {"suspension straps": 2}
    assert mended(f"{HEAD}work seconds = 2\n")[0][0].instead is None


@pytest.mark.parametrize("sign", [";", "//"])
def test_a_remark_behind_a_value_begins_with_a_sharp(sign):
    slips, _ = mended(f"{HEAD}reps = 5 {sign} hard\n")
    assert (slips[0].why, slips[0].instead) == ("a remark begins with #", "reps = 5  # hard")


def test_every_in_quotes_is_a_table():
    with pytest.raises(PlanError, match=r'"every 5" is no word; write \{ every = 5 \}'):
        parse_plan(f'{HEAD}tap = "every 5"\n'.encode())


@pytest.mark.parametrize(
    ("word", "day"),
    [
        ("1.12.2026 18:00", "2026-12-01 18:00"),
        ("31.2.2026 18:00", "2026-11-26 18:00"),  # there is no such day
        ("six", "2026-11-26 18:00"),
    ],
)
def test_a_day_that_comes_first_is_turned_round(word, day):
    with pytest.raises(UsageError) as told:
        parsed(word)
    assert told.value.remedy == f'Say for example 18:00, or "{day}"'


@pytest.mark.parametrize(
    ("key", "said", "instead", "told"),
    [
        ("work_s", "1:75", "75", ("2:15, which is written 135", "1:15 is written 75")),
        ("work_s", "1:60", "60", ("2:00, which is written 120", "1:00 is written 60")),
        ("work_s", "20:75", "1275", ("21:15, which is written 1275",)),
        ("work_s", "1:75:00", "8100", ("2:15:00, which is written 8100",)),
        ("minutes", "1:75", "1.25", ("2:15, which is written 2.25", "1:15 is written 1.25")),
    ],
)
def test_a_clock_past_59_seconds_is_read_in_neither_way_unsaid(key, said, instead, told):
    (slip,) = mended(f"{key} = {said}\n")[0]
    assert slip.instead == f"{key} = {instead}"
    assert slip.why.startswith("on a clock seconds and minutes go to 59; ")
    assert all(words in slip.why for words in told)
    assert ("take the one you mean" in slip.why) == (len(told) == 2)


@pytest.mark.parametrize(("said", "instead"), [("0:75", "75"), ("0:0:75", "75"), ("1:15", "75")])
def test_a_clock_that_says_one_thing_is_taken_as_it_is(said, instead):
    (slip,) = mended(f"work_s = {said}\n")[0]
    assert (slip.instead, slip.why) == (
        f"work_s = {instead}",
        "times are in seconds, a bare number",
    )


@pytest.mark.parametrize("said", ["20:75", "1:60:00", "20:-5", "20:x"])
def test_seconds_of_a_length_go_to_59(said):
    with pytest.raises(UsageError):
        slot_ms(said)


def test_lengths_that_are_right():
    assert [slot_ms(said) for said in ("20", "42.5", "19:30", "1:05:00", "0:90")] == [
        1_200_000,
        2_550_000,
        1_170_000,
        3_900_000,
        90_000,
    ]
