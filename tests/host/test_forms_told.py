"""Lists and relays in what a plan is told as: numbers, cards, timetable, remarks, the box."""

import json

import pytest
from made_plans import EXAMPLES

from handbell.cli.main import main
from handbell.coach import lists
from handbell.coach.cards import Card, LaneCard, cards_of, kit_words
from handbell.coach.library import load_library
from handbell.coach.numbers import numbers_of
from handbell.coach.remarks import coach_remarks
from handbell.compile import build
from handbell.plan.files import parse_plan
from handbell.plan.scaling import for_bib
from handbell.store.timelines import decode

LIBRARY = load_library()
LIST = """
title = "T"
[[group]]
name = "Red"
bibs = [7, 8]
[[block]]
name = "Through"
format = "{form}"
minutes = 6
{more}
  [[block.exercise]]
  name = "Squat"
  reps = 15
  [[block.exercise]]
  name = "Burpee"
  reps = 6
  [[block.exercise]]
  name = "Plank"
  hold_s = 20
"""
RELAY = """
title = "T"
buttons = {buttons}
[[group]]
name = "Red"
bibs = [1, 2]
[[group]]
name = "Blue"
bibs = [3, 4, 5]
[[block]]
format = "relay"
leg_s = 30
legs = {legs}
rest_s = 10
  [[block.exercise]]
  name = "Jumping jack"
"""


def a_list(form="as-many-rounds", more=""):
    return build(parse_plan(LIST.format(form=form, more=more).encode()))


def a_relay(legs=6, buttons=1):
    return build(parse_plan(RELAY.format(legs=legs, buttons=buttons).encode()))


# Numbers


def test_a_lists_time_is_shared_out_by_what_the_library_says_and_adds_up():
    """By hand: 15 squats at 12 to 20 in 30 s take 22.5 to 37.5 s, 6 burpees at 6 to 11 take 16.4 to
    30 s, and the plank 20 s: once through is 58.9 to 87.5 s, so 4.1 to 6.1 rounds fit in 6 min.
    """
    (share,) = numbers_of(a_list(), LIBRARY).shares
    through = next(e for e in share.exercises if e.name == "Through")
    assert through.unit == "rounds"
    assert through.likely.least == pytest.approx(360 / 87.5)
    assert through.likely.most == pytest.approx(360 / (22.5 + 180 / 11 + 20))
    assert sum(share.work_by_pattern_ms.values()) == share.work_ms == 360_000
    middle = {"squat": 60.0, "cardio": 180 / 11 + 30, "trunk": 40.0}
    for pattern, part in middle.items():
        expected = 360_000 * part / sum(middle.values())
        assert share.work_by_pattern_ms[pattern] == pytest.approx(expected, abs=1)
    assert share.landings.least == pytest.approx(6 * 360 / 87.5)
    assert share.likely_reps.least == pytest.approx(21 * 360 / 87.5)  # rounds are no reps


def test_what_is_left_under_a_cap_is_earned_rest():
    (share,) = numbers_of(a_list("under-a-cap", "rounds = 4"), LIBRARY).shares
    assert share.earned_rest_ms.least == pytest.approx(360_000 - 4 * 87_500)
    assert share.asked_reps == 4 * 21
    (share,) = numbers_of(a_list("under-a-cap", "rounds = 9"), LIBRARY).shares
    through = next(e for e in share.exercises if e.name == "Through")
    assert through.too_many == 9 and share.earned_rest_ms.most == 0


def test_a_list_of_which_nothing_is_known_is_only_time():
    built = build(
        parse_plan(
            b'title = "T"\n[[block]]\nname = "L"\nformat = "as-many-rounds"\nminutes = 5\n'
            b'[[block.exercise]]\nname = "Qqq"\nreps = 3\n'
        )
    )
    (share,) = numbers_of(built, LIBRARY).shares
    assert share.work_by_pattern_ms == {"not in the library": 300_000}
    assert lists.timed(built.plan.blocks[0].exercises[0], LIBRARY) is None


@pytest.mark.parametrize("ms", [1, 7_001, 360_000])
def test_shared_out_time_is_whole_and_all_of_it(ms):
    parts = lists.timed(a_list().plan.blocks[0].exercises[0], LIBRARY)
    shared = lists.shared_out(ms, parts)
    assert sum(shared) == ms and all(isinstance(part, int) and part >= 0 for part in shared)


@pytest.mark.parametrize("buttons", [1, 2])
def test_in_a_relay_whoever_waits_rests(buttons):
    built = a_relay(buttons=buttons)
    work_ms = {who: s.work_ms for s in numbers_of(built, LIBRARY).shares for who in s.who}
    assert work_ms == {
        "Red (bib 1)": 90_000,
        "Red (bib 2)": 90_000,
        "Blue (bib 3)": 60_000,
        "Blue (bib 4)": 60_000,
        "Blue (bib 5)": 60_000,
    }
    assert all(s.work_ms + s.rest_ms == 230_000 for s in numbers_of(built, LIBRARY).shares)


def test_the_boxes_ask_one_bib_a_leg_at_the_button_it_has_elsewhere():
    windows = decode(a_relay(buttons=2).timelines[1].data).windows
    assert [w.bibs[:2] for w in windows.values()] == [(3, 0), (0, 4), (5, 0)] * 2


def test_the_timetable_says_whose_leg_it_is():
    rows = [row for row in a_relay(buttons=2).timetable if row.kind == "window"]
    assert [[cell.bibs for cell in row.stations] for row in rows[:3]] == [
        [(1,), (3,)],
        [(2,), (4,)],
        [(1,), (5,)],
    ]


# Words


def test_legs_that_do_not_divide_are_told():
    assert not any("legs" in words for words in a_relay(6).warnings)
    (words,) = [words for words in a_relay(8).warnings if "legs" in words]
    assert words == ('block 1: 8 legs for the 3 of "Blue": 2 of them do one more than the others')


def test_remarks_look_at_what_a_list_consists_of():
    text = LIST.format(form="as-many-rounds", more="").replace("Squat", "Sqatt")
    text = text.replace("Burpee", "Pull-up")
    remarks = coach_remarks(parse_plan(text.encode()), LIBRARY)
    assert any(words.startswith('"Sqatt": not in the library') for words in remarks)
    assert not any("Through" in words for words in remarks)


def test_cards_have_the_list_and_an_option_for_each_part():
    lane, card = cards_of(a_list("under-a-cap", "rounds = 4"), LIBRARY)
    assert isinstance(card, Card) and isinstance(lane, LaneCard)
    assert (card.name, card.task, card.tap) == ("Through", "4 rounds in 6:00", "Tap each round.")
    assert card.parts == ("15 Squat", "6 Burpee", "20 s Plank")
    assert card.place == "Through"
    (words,) = card.easier
    assert " for Burpee" in words and " for Squat" in words and " or " not in words
    (line,) = lane.blocks[0].exercises
    assert line[:2] == ("4 rounds in 6:00", "15 Squat, 6 Burpee, 20 s Plank")


@pytest.mark.parametrize(
    ("form", "more", "task"),
    [
        ("as-many-rounds", "", "6:00, as many rounds as you can"),
        ("as-many-rounds", "goal = 5", "6:00, goal 5 rounds"),
        ("under-a-cap", "", "1 round in 6:00"),
    ],
)
def test_a_lists_task_in_words(form, more, task):
    assert cards_of(a_list(form, more), LIBRARY)[1].task == task


def test_a_relays_card_says_one_at_a_time():
    lane = cards_of(a_relay(), LIBRARY)[0]
    assert lane.blocks[0].title == "6 legs, one person at a time"


def test_the_kit_of_a_list_is_that_of_its_parts():
    text = LIST.format(form="as-many-rounds", more="").replace("Squat", "Goblet squat")
    assert kit_words(parse_plan(text.encode()), LIBRARY) == "kettlebell or dumbbells"


def test_an_own_task_with_another_name_is_no_list_any_more():
    text = LIST.format(form="as-many-rounds", more="").split("[[block.exercise]]")[0]
    text = text.replace('format = "as-many-rounds"\nminutes = 6\n', "") + (
        '[[block.exercise]]\nname = "L"\nwork_s = 360\n'
        '[[block.exercise.part]]\nname = "Squat"\nreps = 9\n'
        '[[block.exercise.scaled]]\nbibs = [8]\nname = "Bike"\n'
    )
    exercise = parse_plan(text.encode()).blocks[0].exercises[0]
    assert exercise.names == ("Squat",)
    assert for_bib(exercise, 8).names == ("Bike",) and for_bib(exercise, 7).names == ("Squat",)


def test_show_tells_the_list_once(tmp_path, capsys):
    path = tmp_path / "plan.toml"
    path.write_text(LIST.format(form="as-many-rounds", more="goal = 5"), encoding="utf-8")
    assert main(["show", str(path)]) == 0
    out = capsys.readouterr().out
    assert out.count("A round of Through: 15 Squat, 6 Burpee, 20 s Plank\n") == 1
    assert main(["show", str(path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["lists"] == {
        "Through": "15 Squat, 6 Burpee, 20 s Plank"
    }
    assert main(["show", str(EXAMPLES["three-block"])]) == 0
    assert "A round of" not in capsys.readouterr().out
