"""Lists and relays in what a plan is told as: numbers, cards, timetable, remarks, the box."""

import json

import pytest
from made_plans import EXAMPLES, IN_MANUAL, THREE_AT_TWO

from handbell.cli.main import main
from handbell.coach.library import lists
from handbell.coach.library.following import followings
from handbell.coach.library.remarks import coach_remarks
from handbell.coach.library.shelf import load_library
from handbell.coach.numbers.numbers import numbers_of
from handbell.coach.order import kit
from handbell.coach.swap.rank import Wish
from handbell.coach.swap.swap import find_swaps
from handbell.coach.swap.write import swapped
from handbell.coach.writing.edit import PlanText
from handbell.coach.writing.written_out import written_out
from handbell.compile import build
from handbell.compile.schedule import resolve
from handbell.paper.cards import Card, LaneCard, cards_of, kit_words, task_words
from handbell.paper.layout import FAR, PAPERS, pages_of
from handbell.plan.files import parse_plan
from handbell.plan.model import for_bib
from handbell.store.logs.timelines import decode

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
    remarks = coach_remarks(resolve(parse_plan(text.encode())), LIBRARY)
    assert any(words.startswith('"Sqatt": not in the library') for words in remarks)
    assert not any("Through" in words for words in remarks)


def test_cards_have_the_list_and_an_option_for_each_part():
    lane, card = cards_of(a_list("under-a-cap", "rounds = 4"), LIBRARY)
    assert isinstance(card, Card) and isinstance(lane, LaneCard)
    assert (card.name, card.task, card.tap) == ("Through", "4 rounds in 6:00", "Tap each round.")
    assert card.parts == ("15 Squat", "6 Burpee", "20 s Plank")
    assert card.place == "Through"
    assert [words.split(" for ")[1] for words in card.easier] == ["Squat", "Burpee", "Plank"]
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
    assert json.loads(capsys.readouterr().out)["data"]["lists"] == [
        {"name": "Through", "parts": "15 Squat, 6 Burpee, 20 s Plank", "unit": "round"}
    ]
    assert main(["show", str(EXAMPLES["three-block"])]) == 0
    assert "A round of" not in capsys.readouterr().out


# What tired coaches did


WAITS = THREE_AT_TWO.replace("Squat", "Bench dip").replace(
    "[[1, 2, 0], [0, 1, 2], [2, 0, 1]]", "[[2, 0, 1], [1, 2, 0], [0, 1, 2]]"
)


def test_what_follows_what_where_groups_wait_is_each_groups_own():
    """A waits 30 s and twice 15 s between the two, so only B and C do them back to back."""
    text = WAITS.split('[[block]]\n  [[block.exercise]]\n  name = "Squat"')[0]
    schedule = resolve(parse_plan(text.encode()))
    assert set(followings(schedule)) == {((0, 0), (0, 1))}
    assert any("comes straight after" in words for words in coach_remarks(schedule, LIBRARY))


@pytest.mark.parametrize("text", IN_MANUAL)
def test_everything_a_coach_asks_of_the_manuals_plans_is_answered(text, tmp_path, capsys):
    path = tmp_path / "plan.toml"
    path.write_text(text, encoding="utf-8")
    for words in (["check"], ["check", "--json"], ["show"], ["show", "--expanded"]):
        assert main([words[0], str(path), *words[1:]]) == 0
    assert main(["cards", str(path), "--out", str(tmp_path / "cards")]) == 0
    assert main(["swap", str(path), "--because", "sore", "--where", "knee"]) in (0, 1)
    assert main(["show", str(path), "--csv", str(path)]) == 2
    assert "Traceback" not in "".join(capsys.readouterr())


@pytest.mark.parametrize(
    "words",
    [
        ["show", "{plan}", "--csv", "{plan}"],
        ["show", "{plan}", "--calendar", "{plan}", "--at", "2026-12-01 18:00"],
        ["show", "{plan}", "--csv", "x", "--calendar", "x", "--at", "2026-12-01 18:00"],
        ["rehearse", "{plan}", "--out", "{plan}"],
    ],
)
def test_no_output_takes_the_place_of_the_plan_or_of_another(words, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    plan = tmp_path / "plan.toml"
    plan.write_text(WAITS, encoding="utf-8")
    assert main([word.format(plan=plan) for word in words]) == 2
    assert "would be written over" in capsys.readouterr().err
    assert plan.read_text(encoding="utf-8") == WAITS
    assert {p.name for p in tmp_path.iterdir()} <= {plan.name, "data"}


@pytest.mark.parametrize(
    "words",
    [
        ["new", "."],
        ["show", "plan.toml", "--expanded", "--out", "."],
        ["show", "plan.toml", "--csv", "."],
        ["rehearse", "plan.toml", "--out", "."],
        ["fit", "plan.toml", "--minutes", "10", "--out", "."],
    ],
)
def test_a_folder_is_no_file(words, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "plan.toml").write_text(WAITS, encoding="utf-8")
    assert main(words) == 1
    assert "is a folder. Name a file in it." in capsys.readouterr().err


@pytest.mark.parametrize("turns", ["window", "round"])
@pytest.mark.parametrize("exercises", [1, 2, 3])
def test_in_a_relay_nobody_runs_two_legs_while_another_waits(turns, exercises):
    text = RELAY.format(legs=12, buttons=1).replace("buttons", f'turns = "{turns}"\nbuttons')
    text += "".join(f'  [[block.exercise]]\n  name = "E{n}"\n' for n in range(1, exercises))
    rows = [r for r in build(parse_plan(text.encode())).timetable if r.kind == "window"]
    assert [r.stations[0].bibs[0] for r in rows] == [1, 2] * 6
    assert [r.stations[1].bibs[0] for r in rows] == [3, 4, 5] * 4


def test_a_relay_takes_kit_for_one_of_each_group():
    text = RELAY.format(legs=6, buttons=1).replace("[[block]]", "[kit]\nsled = 2\n[[block]]")
    plan = parse_plan((text + '  kit = ["sled"]\n').encode())
    assert kit.faults(resolve(plan)) == []
    plan = parse_plan((text.replace("sled = 2", "sled = 1") + '  kit = ["sled"]\n').encode())
    assert kit.faults(resolve(plan)) == [(0, "step 1: 2 of sled in use, of 1")]


def test_a_list_with_counted_kit_takes_the_most_that_a_part_needs():
    text = LIST.format(form="as-many-rounds", more="")
    text = text.replace("reps = 15\n", "reps = 15\n  kit = { dumbbells = 2 }\n")
    text = text.replace("reps = 6\n", "reps = 6\n  kit = { dumbbells = 1, box = 1 }\n")
    (window,) = parse_plan(text.encode()).blocks[0].exercises
    assert {need.kit: need.count for need in window.kit} == {"dumbbells": 2, "box": 1}


def test_a_list_named_like_a_part_is_not_added_to_it():
    text = LIST.format(form="as-many-rounds", more="").replace('"Through"', '"Burpee"')
    (share,) = numbers_of(build(parse_plan(text.encode())), LIBRARY).shares
    assert sorted(e.unit for e in share.exercises if e.name == "Burpee") == ["reps", "rounds"]


def test_a_change_within_a_list_shows_against_last_week(tmp_path, capsys):
    last, now = tmp_path / "last.toml", tmp_path / "now.toml"
    last.write_text(LIST.format(form="as-many-rounds", more=""), encoding="utf-8")
    text = LIST.format(form="as-many-rounds", more="").replace("reps = 15", "reps = 20")
    now.write_text(text, encoding="utf-8")
    assert main(["check", str(now), "--against", str(last), "--numbers"]) == 0
    out = capsys.readouterr().out
    assert "Squat: 15 in each round of a list, now 20 in each round of a list" in out
    assert "Work by pattern *" in out


@pytest.mark.parametrize("paper", PAPERS.values(), ids=PAPERS)
@pytest.mark.parametrize("parts", [2, 5, 6, 12])
def test_a_lists_card_loses_nothing_over_the_edge(paper, parts):
    names = list(LIBRARY.entries.values())[:: len(LIBRARY.entries) // parts][:parts]
    exercises = "".join(f'[[block.exercise]]\nname = "{e.name}"\nreps = 9\n' for e in names)
    text = (
        f'title = "T"\n[[block]]\nname = "L"\nformat = "as-many-rounds"\nminutes = 9\n{exercises}'
    )
    cards = cards_of(build(parse_plan(text.encode())), LIBRARY)
    (page,) = [page for page in pages_of(cards, paper) if page.kind == "card"]
    assert sum(p.high_mm(paper.room_mm) for p in page.pieces) <= paper.depth_mm
    words = " ".join(piece.text for piece in page.pieces).replace("\N{NO-BREAK SPACE}", " ")
    assert all(f"9 {entry.name}" in words for entry in names)
    assert all(entry.cautions in words for entry in names)
    if parts <= 5:
        assert min(p.size for p in page.pieces if p.kind in ("part", "mind")) >= FAR


def test_swap_reaches_into_a_list_that_is_written_out():
    full = written_out(LIST.format(form="under-a-cap", more="rounds = 2").encode(), "plan")
    text = PlanText(full, "plan")
    (swap,) = find_swaps(text, LIBRARY, Wish(because="too-hard"), "Burpee")
    data, built = swapped(text, [swap])
    assert built.plan.blocks[0].exercises[0].parts[1].name == swap.new.name
    assert [place.at for place in swap.places] == [(0, 0, 1)]
    assert swap.new.name.encode() in data


def test_a_form_may_stand_behind_an_option(tmp_path, capsys):
    assert main(["new", str(tmp_path / "x.toml"), "--boxes", "2", "ladder", "plain"]) == 0
    text = (tmp_path / "x.toml").read_text(encoding="utf-8")
    assert 'format = "ladder"' in text and text.count("[[block]]") == 2
    assert main(["check", str(tmp_path / "x.toml"), "--json", "more"]) == 2


def test_expanded_is_to_the_byte_on_standard_output(tmp_path, capfdbinary):
    text = 'title = "T"\r\n[[block]]\r\n\tformat = "intervals"\r\n\twork_s = 20\r\n'
    text += '[[block.exercise]]\r\n\tname = "Bike"\r\n# a\ttab\r\n'
    path = tmp_path / "plan.toml"
    path.write_bytes(text.encode())
    assert main(["show", str(path), "--expanded"]) == 0
    assert capfdbinary.readouterr().out == written_out(text.encode(), "plan")


@pytest.mark.parametrize(
    ("reps", "words"),
    [
        (
            [2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 18, 16, 14, 12, 10, 8, 6, 4, 2],
            "2 up to 20 reps and back, by 2, in 30 s",
        ),
        ([9, 8, 7, 6, 5, 4, 3], "9 down to 3 reps, by 1, in 30 s"),
        ([1, 2, 3, 2, 1], "1, 2, 3, 2, 1 reps in 30 s"),
        ([1], "1 rep in 30 s"),
        ([2, 4, 6, 9, 6, 4, 2], "2, 4, ..., 9, ..., 2 reps in 30 s"),
    ],
)
def test_a_long_ladder_keeps_its_top(reps, words):
    text = f'title = "T"\n[[block]]\n[[block.exercise]]\nname = "A"\nwork_s = 30\nreps = {reps}\n'
    (exercise,) = parse_plan(text.encode()).blocks[0].exercises
    assert task_words(exercise) == words


def test_a_ladder_by_the_rep_says_its_pace_on_the_card():
    ladder = 'title = "T"\n[[block]]\nformat = "ladder"\nfrom = 2\nto = 10\nby = 2\nback = true\n'
    text = f'{ladder}rep_s = 4\n[[block.exercise]]\nname = "A"\n'
    (exercise,) = parse_plan(text.encode()).blocks[0].exercises
    assert task_words(exercise) == "2 up to 10 reps and back, by 2; 4 s a rep"
