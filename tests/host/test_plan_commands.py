"""The commands check and show, run as a coach runs them."""

import json
import re

import pytest
from made_plans import EXAMPLES

from handbell.cli.main import main
from handbell.coach.library.remarks import coach_remarks
from handbell.coach.library.shelf import load_library
from handbell.compile import build
from handbell.plan.files import load_plan


def run(capsys, *words):
    code = main([str(word) for word in words])
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    return code, said.out, said.err


def test_check_adds_up_the_three_block_plan(capsys):
    code, out, _ = run(capsys, "check", EXAMPLES["three-block"], "--json")
    facts = json.loads(out)["data"]
    assert code == 0
    totals = facts["totals"]
    assert (totals["total_ms"], totals["slot_ms"]) == (930_000, 940_000)
    assert (totals["windows"], totals["boxes"]) == (27, 1)
    assert (facts["title"], facts["layout"]) == ("Three blocks", "lanes")
    assert (totals["work_ms"], totals["rest_ms"]) == (810_000, 120_000)


def test_check_says_what_the_library_makes_of_the_plan_too(capsys, tmp_path):
    built = build(load_plan(EXAMPLES["three-block"]))
    library = load_library()
    facts = json.loads(run(capsys, "check", EXAMPLES["three-block"], "--json")[1])["data"]
    assert built.warnings == []
    assert facts["warnings"] == coach_remarks(built.schedule, library)
    assert any(w.startswith("warm_up: ") for w in facts["warnings"])
    own = tmp_path / "own.toml"
    own.write_text('format = ["cardio", "trunk"]\n', encoding="utf-8")
    out = run(capsys, "check", EXAMPLES["three-block"], "--library", own)[1]
    assert "your format has trunk here" in " ".join(out.split())
    code, _, err = run(capsys, "check", EXAMPLES["three-block"], "--library", tmp_path / "no.toml")
    assert code == 1 and "no.toml" in err
    shown = json.loads(run(capsys, "show", EXAMPLES["three-block"], "--json")[1])["data"]
    assert shown["warnings"] == []  # a timetable is not the place for advice


def test_check_for_people(capsys):
    code, out, _ = run(capsys, "check", EXAMPLES["three-block"])
    assert code == 0
    assert "15:30" in out and "15:40" in out
    assert "27 on 1 box" in out
    words = " ".join(out.split())
    assert "Work 13:30 Rest and changes 2:00" in words
    lines = out.splitlines()
    assert "no fault, 2 notes" in lines[0] and lines[1].startswith("  note: warm_up"), (
        "notes come first"
    )
    assert out.count("screening questionnaire") == 1


def test_check_says_that_a_gate_waits(capsys):
    assert "A gate counts as nothing" in run(capsys, "check", EXAMPLES["gate"])[1]
    assert "gate" not in run(capsys, "check", EXAMPLES["rotation"])[1]


def test_check_prints_every_fault_to_standard_error(capsys, tmp_path):
    plan = tmp_path / "class.toml"
    plan.write_text("lead_in_s = 1\n", encoding="utf-8")
    code, out, err = run(capsys, "check", plan)
    assert (code, out) == (1, "")
    assert err == (
        f"{plan}: 3 things to fix:\n"
        '  - title is missing; write title = "Monday class"\n'
        "  - lead_in_s: 1 s is too short to be noticed; write 0 for none, or 3 or more\n"
        "  - block: the plan has no windows; add a [[block]] with at least one "
        "[[block.exercise]]\n"
    )


def test_check_tells_warnings_and_prints_markup_as_it_is(capsys, tmp_path):
    plan = tmp_path / "class.toml"
    plan.write_text(
        'title = "[red]Żuraw[/red]"\n[[block]]\n[[block.exercise]]\nname = "[b]A"\nwork_s = 30\n',
        encoding="utf-8",
    )
    code, out, _ = run(capsys, "check", plan)
    assert code == 0
    assert "[red]Żuraw[/red]: no fault, " in out
    assert 'note: title: "[red]Żuraw[/red]" is shown as "[red]Zuraw[/red]" on the boxes' in out
    _, out, _ = run(capsys, "show", plan)
    assert "[b]A" in out
    facts = json.loads(run(capsys, "check", plan, "--json")[1])["data"]
    assert facts["warnings"][0].startswith("title: ")


def test_show_the_class(capsys):
    code, out, _ = run(capsys, "show", EXAMPLES["rotation"])
    assert code == 0
    tasks, grid = (
        [re.split(r"  +", line.strip()) for line in part.splitlines()] for part in out.split("\n\n")
    )
    assert tasks[2:4] == [["Station 1", "Box jump"], ["Station 2", "Ring row, 12 reps, tap finish"]]
    assert grid[0][3:] == ["Station 1", "Station 2", "Station 3", "Station 4"]
    assert grid[2] == ["0:10", "0:40", "Corners, 1", "North 11 12", "East", "South", "West 41 42"]
    assert grid[3][3:5] == ["West 41 42", "North 11 12"], "a line a move, a column a station"
    assert grid[7][:3] == ["4:35", "0:40", "Corners, 2"] and grid[7][3] == "North 13", "turns"
    assert "Changes between: 0:15." in out and not any("change" in row for row in grid)
    facts = json.loads(run(capsys, "show", EXAMPLES["rotation"], "--json")[1])["data"]
    rows = facts["rows"]
    assert [row["kind"] for row in rows[:3]] == ["lead-in", "window", "change"]
    assert rows[1]["stations"][1] == {
        "station": 2,
        "what": "Ring row, 12 reps, tap finish",
        "who": "East",
        "people": [21, 22],
        "bibs": [21, 22],
        "own": [],
    }
    assert facts["totals"]["slot_ms"] == rows[-1]["class_ms"] + rows[-1]["duration_ms"]


def test_show_a_long_rotation_fits_a_narrow_terminal(capsys, tmp_path, monkeypatch):
    """Twelve stations were 282 lines: the tasks stood in every window of every station."""
    plan = tmp_path / "plan.toml"
    groups = [f'[[group]]\nname = "G{n}"\nbibs = [{2 * n - 1}, {2 * n}]\n' for n in range(1, 13)]
    exercises = [f'[[block.exercise]]\nname = "Task {n}"\nwork_s = 40\n' for n in range(1, 13)]
    head = 'title = "X"\nlayout = "rotation"\nmove = "window"\nbuttons = 2\nchange_s = 15\n'
    plan.write_text("".join([head, *groups, "[[block]]\n", *exercises]), encoding="utf-8")
    monkeypatch.setattr("handbell.cli.output.PIPED_WIDE", 80)
    code, out, _ = run(capsys, "show", plan)
    assert code == 0 and len(out.splitlines()) < 70
    assert max(map(len, out.splitlines()[:-1])) <= 80
    assert out.count("Task 7") == 1, "what a station does is said once"


def test_show_heads_a_station_with_what_the_plan_has_there(capsys, tmp_path):
    """The first visitor's own task headed the station, and the card said another."""
    plan = tmp_path / "plan.toml"
    plan.write_text(
        'title = "X"\nlayout = "rotation"\n[[group]]\nname = "Gwen"\nbibs = [7]\n[[group]]\n'
        'name = "Red"\nbibs = [8, 9]\n[[station]]\nlabel = "Łódź"\n[[station]]\nlabel = "Two"\n'
        '[[block]]\n[[block.exercise]]\nname = "Push-up"\n'
        'work_s = 30\nreps = 10\n[[block.exercise.scaled]]\nbibs = [7]\nname = "Knee push-up"\n'
        "reps = 8\n[[block.exercise.scaled]]\nbibs = [8]\nreps = 6\n[[block.exercise]]\n"
        'name = "Squat"\nwork_s = 30\n',
        encoding="utf-8",
    )
    rows = [re.split(r"  +", line.strip()) for line in run(capsys, "show", plan)[1].splitlines()]
    assert ["Łódź", "Push-up, 10 reps"] in rows, "the plan's letters, not the box's"
    assert ["0:10", "0:30", "block 1, 1", "Knee push-up, 8 reps, Gwen", "Red 8"] in rows
    assert ["0:55", "0:30", "block 1, 1", "Red 9 (bib 8: Push-up, 6 reps)", "Gwen"] in rows


def test_show_an_order_says_who_does_what(capsys):
    out = run(capsys, "show", EXAMPLES["straps"])[1]
    rows = [re.split(r"  +", line.strip()) for line in out.splitlines()]
    first = next(row for row in rows if row[0] == "1:20")
    assert first[2:4] == ["Upper, 1", "Squat jump"]
    assert first[-1] == "Plank, hold"
    burpee = next(row for row in rows if row[0] == "8:10")
    assert burpee == ["8:10", "0:20", "Burpee, 1"], "the same for all: said once"


def test_show_one_box(capsys):
    code, out, _ = run(capsys, "show", EXAMPLES["rotation"], "--box", 2)
    assert code == 0
    assert "Four corners, Station 2" in out
    assert "Ring row, 12 reps" in out and "Box jump" not in out
    windows = [re.split(r"  +", line.strip()) for line in out.splitlines() if " window " in line]
    assert [row[-1] for row in windows[:2]] == ["East 21 22", "North 11 12"], "each says who"
    facts = json.loads(run(capsys, "show", EXAMPLES["rotation"], "--box", 2, "--json")[1])["data"]
    assert facts["station"] == 2
    windows = [row for row in facts["rows"] if row["kind"] == "window"]
    assert [row["bibs"] for row in windows[:2]] == [[21, 22], [11, 12]]


def test_show_says_who_only_when_it_changes(capsys):
    _, out, _ = run(capsys, "show", EXAMPLES["harbour"])
    assert out.count("Pier 1 2") == 1
    for task in (
        "Step-up, goal 24, tap every 2",
        "16 reps, tap finish",
        "tap tally",
        "Plank, hold",
    ):
        assert task in out


@pytest.mark.parametrize(("plan", "box"), [("rotation", 5), ("rotation", 0), ("three-block", 2)])
def test_show_a_box_that_is_not_there(capsys, plan, box):
    code, _, err = run(capsys, "show", EXAMPLES[plan], "--box", box)
    assert code == 2
    assert f"has no box {box}. " in err


@pytest.mark.parametrize("command", ["check", "show"])
def test_help_has_examples(capsys, command):
    with pytest.raises(SystemExit) as left:
        main([command, "--help"])
    assert left.value.code == 0
    assert f"handbell {command} monday.toml" in capsys.readouterr().out
