"""A plan to start from: whole for the people, boxes, kit and minutes there are, and quiet."""

import io
import json
import re
import textwrap
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_plans import DOCS

from handbell.base.errors import UsageError
from handbell.cli.main import main
from handbell.coach.library.names import name_key
from handbell.coach.library.remarks import coach_remarks
from handbell.coach.library.shelf import load_library
from handbell.coach.starters.floor import floor_of
from handbell.coach.starters.starter import NAMES, RELAY, ROTATION, starter
from handbell.compile import build
from handbell.plan.files import parse_plan
from handbell.work.planning.new import Wishes, kit_there, new

LIBRARY = load_library()
STAYING = [name for name in NAMES if name != ROTATION]
KITS = ("kettlebell", "box", "dumbbells", "rings", "bench")


def made(title="T", forms=("plain",), people=4, boxes=4, buttons=1, kit=(), longer=0):
    floor = floor_of([*range(1, people + 1)], boxes, buttons)
    keys = kit_there(LIBRARY, kit)
    return starter(title, forms, floor, LIBRARY, keys, "x.toml", longer)


@pytest.mark.parametrize("forms", [[name] for name in NAMES] + [STAYING])
def test_it_is_in_order_and_gives_no_warning(forms, tmp_path, capsys):
    path = tmp_path / "monday-evening.toml"
    assert main(["new", str(path), *forms, "--boxes", "3"]) == 0
    assert "Monday evening" in capsys.readouterr().out
    assert main(["check", str(path), "--json"]) == 0
    notes = json.loads(capsys.readouterr().out)["data"]["warnings"]
    # A relay brings two people to each box, and two of the other blocks have one window.
    assert notes == [] or (forms is STAYING and all("never asked to tap" in n for n in notes))
    assert len(build(parse_plan(path.read_bytes())).timelines) == 3
    assert main(["new", str(path), *forms]) == 1  # it stays as it is
    assert "is there already" in capsys.readouterr().err


@settings(deadline=None)
@given(
    st.sampled_from([(name,) for name in NAMES] + [tuple(STAYING)]),
    st.integers(1, 8),
    st.integers(0, 20),
    st.integers(1, 4),
    st.sets(st.sampled_from(KITS)),
    st.integers(-3, 5),
)
def test_it_is_whole_for_any_class(forms, boxes, more, buttons, kit, longer):
    people = boxes * (2 if RELAY in forms else 1) + more
    text = made("T", forms, people, boxes, buttons, sorted(kit), longer)
    built = build(parse_plan(text.encode()))
    plan = built.plan
    assert len(built.timelines) == boxes and plan.warm_up and plan.cool_down
    bibs = [bib for group in plan.groups for bib in group.bibs] or [*range(1, boxes + 1)]
    assert sorted(bibs) == [*range(1, people + 1)], "everybody is counted, and once"
    sizes = [len(group.bibs) for group in plan.groups]
    assert not sizes or max(sizes) - min(sizes) <= 1
    there = {LIBRARY.kit_key(item) for item in kit}
    if forms[0] in ("circuit", ROTATION):
        entries = [LIBRARY.need(e.name) for block in plan.blocks for e in block.exercises]
        assert all(any(name_key(i) in there for i in need) for e in entries for need in e.kit)
        assert all(e.impact != "high" and e.level <= 2 and not e.skill for e in entries)
    if boxes > 1 and more == 0 and len(forms) == 1:  # else turns may not come out even
        assert [*built.warnings, *coach_remarks(built.schedule, LIBRARY)] == []


def test_kit_that_is_there_is_used():
    names = [
        e.name
        for e in parse_plan(made(forms=["circuit"], kit=["kettlebell"]).encode())
        .blocks[0]
        .exercises
    ]
    assert any(LIBRARY.need(name).kit for name in names)
    assert not any(
        LIBRARY.need(e.name).kit
        for e in parse_plan(made(forms=["circuit"]).encode()).blocks[0].exercises
    )


def test_one_of_a_kit_is_for_one_station(tmp_path, capsys):
    """One box was given to three stations at once, and nothing counted it."""
    kit = ["kettlebell", "1 box", "suspension straps = 2"]
    assert kit_there(LIBRARY, kit) == {"kettlebell": None, "box": 1, "suspensionstrap": 2}
    plan = parse_plan(made(forms=[ROTATION], people=14, boxes=6, kit=kit).encode())
    assert plan.kit == {"box": 1, "suspension straps": 2}
    takers = [e for block in plan.blocks for e in block.exercises if e.kit]
    assert [[(n.kit, n.count, n.each) for n in e.kit] for e in takers] == [
        [("box", 1, False)],
        [("suspension straps", 2, False)],
    ]
    path = tmp_path / "x.toml"
    words = ["--people", "14", "--boxes", "6", "--kit", "sled, 1 box"]
    assert main(["new", str(path), "rotation", *words]) == 0
    assert "Nothing for everybody was found for: sled." in capsys.readouterr().out
    assert main(["check", str(path)]) == 0
    assert "note" not in capsys.readouterr().out


@settings(deadline=None, max_examples=40)
@given(
    st.sampled_from(["circuit", ROTATION]),
    st.integers(2, 8),
    st.integers(0, 12),
    st.dictionaries(st.sampled_from(KITS), st.integers(1, 6)),
)
def test_nobody_is_asked_for_reps_with_kit_that_others_use(form, boxes, more, kit):
    counts = [f"{count} {item}" for item, count in kit.items()]
    text = made(forms=[form], people=boxes + more, boxes=boxes, kit=counts)
    plan = parse_plan(text.encode())
    most = max(len(group.bibs) for group in plan.groups) if plan.groups else 1
    for exercise in plan.blocks[0].exercises:
        shared = [need for need in exercise.kit if not need.each and need.count < most]
        assert not (shared and exercise.reps), exercise.name
        for need in shared:
            assert f"{need.kit}: {need.count} for {most}" in text


def test_who_takes_turns_with_kit_has_an_open_window():
    kit = ["1 box", "1 kettlebell", "1 bench"]
    text = made(forms=[ROTATION], people=12, boxes=4, kit=kit)
    shared = [e for e in parse_plan(text.encode()).blocks[0].exercises if e.kit]
    assert shared and all(e.reps is None and e.goal is None for e in shared)
    assert text.count("for 3 people, who take turns; so there is no target.") == len(shared)


COUNTED_ROUNDS = r"#.*\b(\d+|two|three|four|five|six|eight) (rounds|times)|, four times"


@pytest.mark.parametrize("form", NAMES)
def test_no_remark_says_how_many_rounds_there_are(form):
    """They change with the slot, and the remark would not."""
    assert not re.search(COUNTED_ROUNDS, made(forms=[form], longer=3))


@pytest.mark.parametrize("form", NAMES)
def test_a_plan_to_begin_with_is_for_everybody(form):
    """None of it lands hard or is past the second level of the library."""
    for block in parse_plan(made(forms=[form], people=8).encode()).blocks:
        for name in (name for exercise in block.exercises for name in exercise.names):
            entry = LIBRARY.need(name)
            assert entry.impact != "high" and entry.level <= 2, name


def test_the_first_page_shows_the_plan_that_is_written():
    page = (DOCS / "coaches" / "first-class.md").read_text(encoding="utf-8")
    (shown,) = re.findall(r"(?m)(?:^    .*\n)+", page.partition("first two:")[2])[:1]
    assert textwrap.dedent(shown) in made(people=3, boxes=3)


def test_too_few_for_all_are_not_for_a_circuit():
    few = parse_plan(made(forms=["circuit"], people=8, kit=["3 boxes"]).encode())
    assert not any(LIBRARY.need(e.name).kit for e in few.blocks[0].exercises)
    enough = parse_plan(made(forms=["circuit"], people=8, kit=["8 boxes"]).encode())
    assert enough.kit == {"box": 8}


def test_a_form_in_the_place_of_the_file_is_told(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "relay"]) == 2 and main(["new", "AMRAP"]) == 2
    assert "handbell new monday.toml relay" in capsys.readouterr().err
    assert not list(tmp_path.glob("*relay*"))


@pytest.mark.parametrize(
    ("forms", "minutes"), [(["circuit"], "45"), ([ROTATION], "30"), (["every-minute", RELAY], "40")]
)
def test_it_lasts_its_slot(forms, minutes, tmp_path, capsys):
    pytest.importorskip("ortools", reason="the extra planning isn't installed")
    path = tmp_path / "x.toml"
    assert main(["new", str(path), *forms, "--people", "10", "--minutes", minutes, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["data"]
    assert (found["slot_ms"], found["why_not"]) == (int(minutes) * 60_000, "")
    built = build(parse_plan(path.read_bytes()))
    assert built.totals.slot_ms == int(minutes) * 60_000
    usual = parse_plan(made(forms=forms, people=10).encode())
    works = {e.work for block in usual.blocks for e in block.exercises}
    assert {e.work for block in built.plan.blocks for e in block.exercises} <= works


def test_a_slot_that_cannot_be_is_said(tmp_path, capsys):
    pytest.importorskip("ortools", reason="the extra planning isn't installed")
    assert main(["new", str(tmp_path / "x.toml"), "ladder", "--minutes", "3"]) == 0
    out = capsys.readouterr().out
    assert "Not the 3:00 asked for. These forms can't be made that long or that short.\n" in out


@pytest.mark.parametrize("form", ["every-minute", "as-many-rounds", "intervals"])
def test_it_is_never_longer_than_its_slot_where_it_can_be_shorter(form, tmp_path, capsys):
    """The nearest length lay above, and from there no rest could be taken."""
    pytest.importorskip("ortools", reason="the extra planning isn't installed")
    path = tmp_path / "x.toml"
    assert main(["new", str(path), form, "--minutes", "30", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["data"]
    assert (found["slot_ms"], found["why_not"]) == (1_800_000, "")


def test_one_person_a_box_is_never_silent(tmp_path, capsys):
    main(["new", str(tmp_path / "x.toml")])
    assert "4 people, one at each box. More people: --people." in capsys.readouterr().out
    main(["new", str(tmp_path / "y.toml"), "--people", "10"])
    out = capsys.readouterr().out
    assert "10 people at 4 boxes: Group A (bibs 1 2 3), Group B" in out
    assert "take turns to tap" in out


def test_those_of_the_roster_come(tmp_path, capsys):
    names = tmp_path / "names.csv"
    names.write_text("name,bib,group\nAda,31,Monday\nBo,7,Monday\nCy,,Monday\nDi,8,Friday\n")
    main(["roster", str(names)])
    path = tmp_path / "x.toml"
    assert main(["new", str(path), "--roster", "monday", "--boxes", "2"]) == 0
    out = capsys.readouterr().out
    assert "Without a bib on the roster, so not in the plan: Cy." in out
    assert [group.bibs for group in parse_plan(path.read_bytes()).groups] == [(7,), (31,)]
    assert "Ada" not in path.read_text(), "names are not for plans"
    assert main(["new", str(tmp_path / "y.toml"), "--roster", "Sunday"]) == 2
    assert "Groups are" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["pyramid"], "every-minute"),
        (["EMOM"], "The nearest is every-minute."),
        (["amrap"], "The nearest is as-many-rounds."),
        (["lader"], "The nearest is ladder."),
        (["--people", "0"], "0 people are too few"),
        (["--buttons", "0"], "0 buttons"),
        (["--boxes", "0"], "0 boxes are too few or too many"),
        (["--people", "1000"], "1000 people are too few or too many"),
        (["--buttons", "5"], "5 buttons"),
        (["--people", "3", "--boxes", "4"], "Say --boxes 3"),
        (["relay", "--people", "5", "--boxes", "3"], "Say --people 6"),
        (["rotation", "plain"], "name rotation alone"),
        (["rotation", "--boxes", "60"], "has an exercise for each box"),
        (["rotation", "--boxes", "1", "--people", "4"], "Say --boxes 2, or name circuit"),
        (["rotation", "--people", "1"], "Name circuit"),
        (["circuit", "--kit", "kettlebel"], "kettlebells"),
        (["--minutes", "soon"], "no length of a class"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_written(words, said, tmp_path, capsys):
    path = tmp_path / "x.toml"
    assert main(["new", str(path), *words]) in (1, 2)
    assert said in capsys.readouterr().err and not path.exists()


def test_a_plain_plan_to_begin_with_has_rests():
    (block,) = parse_plan(made().encode()).blocks
    assert block.rest_ms >= 10_000 and (block.round_rest_ms or 0) >= 30_000


def test_a_title_with_quotes():
    assert parse_plan(made('A "quoted" \\ one').encode()).title == 'A "quoted" \\ one'


def test_it_says_how_to_check_it_whatever_its_file_is_called(tmp_path, capsys):
    for name, said in (
        ("monday.toml", "handbell check monday.toml"),
        ("my class.toml", "handbell check 'my class.toml'"),
        ("two\nlines.toml", "handbell check"),
        ("b\udcffd.toml", "handbell check"),
    ):
        assert main(["new", str(tmp_path / name)]) == 0
        first = (tmp_path / name).read_text(encoding="utf-8").splitlines()[0]
        assert first == f"# Change anything, then: {said}"
        assert main(["check", str(tmp_path / name)]) == 0
    capsys.readouterr()
    (tmp_path / "a file").touch()
    assert main(["new", str(tmp_path / "a file" / "x.toml")]) == 1
    assert "can't be written" in capsys.readouterr().err


# Asked on a terminal


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.fixture
def answers(monkeypatch):
    """Give answers line by line; returns the questions that were asked."""
    asked = []

    def give(*lines):
        left = [*lines]

        def read(question):
            asked.append(question)
            if not left:
                raise EOFError
            return left.pop(0)

        monkeypatch.setattr("builtins.input", read)
        monkeypatch.setattr("sys.stdin", Terminal())
        monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
        return asked

    return give


def test_it_asks_for_what_is_not_said(answers, tmp_path, capsys):
    asked = answers("move", "abc", "12", "0", "6", "2", "", "kettlebel", "kettlebell")
    path = tmp_path / "x.toml"
    assert main(["new", str(path)]) == 0
    plan = parse_plan(path.read_bytes())
    assert plan.is_rotation and len(plan.groups) == 6 and plan.buttons == 2
    assert sum(len(group.bibs) for group in plan.groups) == 12
    assert [question.split("?")[0] for question in asked].count("How many people come") == 2
    out = capsys.readouterr().out
    assert '"abc" is no number' in out and "0 is too few" in out
    assert "kettlebells" in out


def test_enter_takes_what_stands_there(answers, tmp_path):
    asked = answers("", "", "", "", "", "")
    path = tmp_path / "x.toml"
    assert main(["new", str(path), "plain"]) == 0
    assert all(question.endswith("] ") for question in asked)
    assert sum(len(group.bibs) for group in parse_plan(path.read_bytes()).groups) == 8


def test_it_asks_nothing_where_all_is_said_or_nobody_can_answer(answers, tmp_path):
    asked = answers()
    words = ["plain", "--people", "8", "--boxes", "4", "--buttons", "2", "--minutes", "20"]
    assert main(["new", str(tmp_path / "a.toml"), *words]) == 0
    assert main(["new", str(tmp_path / "b.toml"), "--ask-nothing"]) == 0
    assert main(["new", str(tmp_path / "c.toml"), "--json"]) == 0
    assert main(["new", str(tmp_path / "a.toml")]) == 1, "a file that is there: said at once"
    assert asked == []


def test_stay_means_the_same_said_and_unsaid(answers, tmp_path):
    for name, said in (("a", ""), ("b", "stay"), ("c", "S")):
        answers(said, "8", "4", "", "", "None")
        assert main(["new", str(tmp_path / f"{name}.toml"), "--title", "X"]) == 0
    texts = [
        (tmp_path / f"{name}.toml").read_text(encoding="utf-8").split("\n", 1)[1] for name in "abc"
    ]
    assert len(set(texts)) == 1 and 'name = "Circuit"' in texts[0]


@pytest.mark.parametrize(
    "words", [["emom"], ["plain", "--roster", "nobody"], ["rotation", "plain"]]
)
def test_what_cannot_be_is_refused_before_anything_is_asked(words, answers, tmp_path):
    asked = answers()
    assert main(["new", str(tmp_path / "x.toml"), *words]) == 2
    assert main(["new", str(tmp_path / "relay")]) == 2
    assert asked == []


def test_no_more_boxes_are_offered_than_people_fill(answers, tmp_path, capsys):
    asked = answers("4", "3", "", "", "")
    assert main(["new", str(tmp_path / "x.toml"), "relay"]) == 0
    assert "How many boxes? [2] " in asked
    assert "3 is too few or too many. Say 1 to 2." in capsys.readouterr().out


def test_a_rotation_is_offered_no_single_box(answers, tmp_path, capsys):
    answers("8", "1", "2", "", "", "")
    assert main(["new", str(tmp_path / "x.toml"), "rotation"]) == 0
    assert "1 is too few or too many. Say 2 to 8." in capsys.readouterr().out


def test_no_fewer_boxes_are_offered_than_a_relay_by_taps_needs(answers, tmp_path, capsys):
    """24 people at a box at most."""
    asked = answers("120", "4", "", "", "", "")
    path = tmp_path / "x.toml"
    assert main(["new", str(path), "hand-over"]) == 0
    assert "How many boxes? [5] " in asked
    assert "4 is too few or too many. Say 5 to 60." in capsys.readouterr().out
    assert len(parse_plan(path.read_bytes()).groups) == 5


def test_the_question_of_the_form_names_all_its_answers(answers, tmp_path, capsys):
    asked = answers("swim", "every-minute", "4", "4", "", "")
    assert main(["new", str(tmp_path / "x.toml")]) == 0
    out = capsys.readouterr().out
    for name in NAMES:
        assert name in out
        assert name in asked[0] or name in ("circuit", ROTATION)
    assert "That is none of the answers: stay, move, " in out


def test_ctrl_c_at_a_question_says_that_nothing_is_written(monkeypatch, answers, tmp_path, capsys):
    answers()

    def stopped(question):
        raise KeyboardInterrupt

    monkeypatch.setattr("builtins.input", stopped)
    assert main(["new", str(tmp_path / "x.toml")]) == 130
    said = capsys.readouterr().err
    assert "Nothing is written" in said and "is kept" not in said


@pytest.mark.parametrize(("command", "needs"), [("new", "PLAN"), ("bibs", "CLASS")])
def test_only_what_must_be_said_is_called_required(command, needs, capsys):
    assert main([command]) == 2
    assert f"arguments are required: {needs}. " in capsys.readouterr().err


def test_answers_that_end_write_nothing(answers, tmp_path, capsys):
    answers("stay", "9")
    path = tmp_path / "x.toml"
    assert main(["new", str(path)]) == 2
    assert "--ask-nothing" in capsys.readouterr().err and not path.exists()


def test_a_group_of_the_roster_is_offered(answers, tmp_path):
    names = tmp_path / "names.csv"
    names.write_text("name,bib,group\nAda,31,Monday\nBo,7,Monday\n")
    main(["roster", str(names)])
    asked = answers("Monday", "stay", "", "", "", "")
    path = tmp_path / "x.toml"
    assert main(["new", str(path)]) == 0
    assert '("Monday")' in asked[0] and "How many boxes? [2] " in asked
    assert [group.bibs for group in parse_plan(path.read_bytes()).groups] == [(7,), (31,)]


def test_the_forms_of_the_help_are_those_there_are():
    with pytest.raises(UsageError):
        new(Path("x.toml"), ["no"], "", Wishes())
    import argparse

    from handbell.cli.commands.planning import new as command

    parser = argparse.ArgumentParser()
    command.arguments(parser)
    told = [
        line.split()[0] for line in parser.epilog.split("forms:\n")[1].split("\n\n")[0].splitlines()
    ]
    assert told == list(NAMES)
