"""Remedies that say what was meant: both sides, kit with a blank, every, remarks, days, minutes."""

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
