"""Times and sides that are rarely meant are told, and what is usual is not."""

import pytest

from handbell.coach.library.remarks import coach_remarks
from handbell.coach.library.shelf import load_library
from handbell.compile.schedule import resolve
from handbell.plan.files import parse_plan
from handbell.plan.remarks import remarks

LIBRARY = load_library()


def told(exercise: str, block: str = "", more: str = "") -> list[str]:
    text = f'title = "A"\n[[block]]\n{block}\n[[block.exercise]]\n{exercise}\n{more}\n'
    plan = parse_plan(text.encode())
    return [*remarks(plan), *coach_remarks(resolve(plan), LIBRARY)]


@pytest.mark.parametrize(("work_s", "is_told"), [(600, False), (601, True), (1800, True)])
def test_a_window_of_minutes_is_told(work_s, is_told):
    said = told(f'name = "Squat"\nwork_s = {work_s}')
    assert any("in one window; times are in seconds" in line for line in said) is is_told


def test_a_form_that_goes_on_for_long_is_not():
    said = told('name = "Squat"\nreps = 5', 'format = "as-many-rounds"\nminutes = 20')
    assert not any("in one window" in line for line in said)


@pytest.mark.parametrize(("work_s", "is_told"), [(5, True), (59, True), (60, False)])
@pytest.mark.parametrize(("key", "word"), [("warm_up", "warm-up"), ("cool_down", "cool-down")])
def test_a_warm_up_of_seconds_is_told(key, word, work_s, is_told):
    said = told('name = "Squat"\nwork_s = 30', "", f'[[{key}]]\nname = "M"\nwork_s = {work_s}')
    assert (f"{key}: the {word} is 0:{work_s % 60:02} in all; is that meant?" in said) is is_told


@pytest.mark.parametrize(
    ("block", "exercise", "is_told"),
    [
        ("", "", True),
        ("rounds = 2", "", False),
        ("rounds = 3", "", True),
        ("rounds = 3", "both_sides = true", False),
    ],
)
def test_what_one_side_does_alone_is_told_where_one_gets_more(block, exercise, is_told):
    said = told(f'name = "Side plank"\nwork_s = 30\nhold = true\n{exercise}', block)
    assert any("is for one side at a time" in line for line in said) is is_told
