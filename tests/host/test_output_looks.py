"""What people see on a terminal of 80 columns, in a pipe, and where letters are few."""

import io
import os
import subprocess
import sys

import pytest
from made_plans import EXAMPLES

from handbell.cli.output import Out, open_streams

GRID = (
    "0:10",
    "Squat, North 11 12",
    "Row, East 21 22",
    "Plank, South 31",
    "Slam, West 41",
    "",
    "Run",
)
STATIONS = ("Door", "Stairs", "Mirror", "Ropes", "Bench", "Far end")


class Terminal(io.StringIO):
    def isatty(self):
        return True


def on_terminal(monkeypatch, columns):
    monkeypatch.setenv("COLUMNS", str(columns))
    monkeypatch.setenv("LINES", "25")  # without it a dumb terminal is taken as 80 wide
    monkeypatch.setenv("TERM", "dumb")
    return Out(Terminal())


def printed(out):
    return out.console.file.getvalue()


def test_a_grid_too_wide_for_a_terminal_goes_on_below(monkeypatch):
    out = on_terminal(monkeypatch, 80)
    out.grid(("at",), STATIONS, [GRID])
    lines = printed(out).splitlines()
    assert max(map(len, lines)) <= 80
    heads = [line.split() for line in lines if line.strip().startswith("at")]
    assert heads == [["at", "Door", "Stairs", "Mirror", "Ropes", "Bench"], ["at", "Far", "end"]]
    assert sum(line.startswith("0:10") for line in lines) == 2, "each part says when"


def test_a_grid_in_a_pipe_is_one_table():
    out = Out(io.StringIO())
    out.grid(("at",), STATIONS, [GRID])
    head, row = printed(out).splitlines()
    assert head.split() == ["at", "Door", "Stairs", "Mirror", "Ropes", "Bench", "Far", "end"]
    assert row.startswith("0:10  Squat, North 11 12  Row, East 21 22")


def test_words_beside_a_heading_fit_a_page_in_a_pipe_too():
    out = Out(io.StringIO())
    out.pairs(
        [("Likely reps *", ", ".join(f"Squat jump {n}" for n in range(20))), ("Work", "5:00")]
    )
    lines = printed(out).splitlines()
    assert len(lines) > 2 and max(map(len, lines)) <= 100
    assert [line for line in lines if line != line.rstrip()] == []
    assert {line[:26].strip() for line in lines} == {"Likely reps *", "", "Work"}
    assert " ".join(out_of[26:] for out_of in lines).count("Squat jump") == 20


def test_columns_that_are_said_hold_in_a_pipe_too(monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    out = Out(io.StringIO())
    out.grid(("at",), STATIONS, [GRID])
    out.pairs([("Likely reps *", ", ".join(f"Squat jump {n}" for n in range(20)))])
    out.note("the plan has no warm-up; add one, or lead one outside the plan")
    lines = printed(out).splitlines()
    assert max(map(len, lines)) <= 60
    assert len([line for line in lines if line.strip().startswith("at")]) > 1, "a grid below"
    assert lines[-1].startswith("  ") and lines[-2].startswith("  note:")


def test_columns_that_are_said_may_be_more_than_a_page(monkeypatch):
    monkeypatch.setenv("COLUMNS", "200")
    out = Out(io.StringIO())
    out.pairs([("Likely reps *", ", ".join(f"Squat jump {n}" for n in range(20)))])
    assert 100 < max(map(len, printed(out).splitlines())) <= 200


@pytest.mark.parametrize("said", ["", "0", "wide", "-80"])
def test_columns_that_say_nothing_are_as_if_not_said(monkeypatch, said):
    monkeypatch.setenv("COLUMNS", said)
    out = Out(io.StringIO())
    out.line("x" * 500)
    assert printed(out).splitlines() == ["x" * 500]


def test_a_note_goes_on_under_itself_on_a_terminal(monkeypatch):
    out = on_terminal(monkeypatch, 40)
    out.note("the plan has no warm-up; add one, or lead one outside the plan")
    lines = printed(out).splitlines()
    assert len(lines) == 2 and all(line.startswith("  ") for line in lines)


def test_a_sentence_of_a_list_goes_on_under_itself_on_a_terminal(monkeypatch):
    out = on_terminal(monkeypatch, 40)
    out.line("- Targets made: 49 of 72. Missed some: Hal, Dario and Bo.")
    first, second = printed(out).splitlines()
    assert first.startswith("- Targets made") and second.startswith("  ")


def test_a_sign_that_a_pipe_lacks_is_shown_as_one_like_it(monkeypatch):
    """In reports ? means that somebody gave no answer, so a dash may not become one."""
    narrow = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    monkeypatch.setattr(sys, "stdout", narrow)
    open_streams()
    Out().table(("load", "who"), [("–", "Łuka"), ("3 × 5…", "±2")])
    narrow.flush()
    _, first, second = narrow.buffer.getvalue().decode("ascii").splitlines()
    assert first.split() == ["-", "?uka"]
    assert second.split() == ["3", "x", "5...", "+-2"]


@pytest.mark.parametrize("letters", ["cp1252", "ascii", "utf-8"])
@pytest.mark.parametrize("command", ["check", "show"])
def test_no_letter_stops_a_command(command, letters, tmp_path):
    """As a pipe of Windows (cp1252) and a C locale have them."""
    plan = tmp_path / "class.toml"
    text = EXAMPLES["rotation"].read_text(encoding="utf-8")
    plan.write_text(text.replace("Four corners", "Żuraw ünd"), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "handbell", command, str(plan)],
        capture_output=True,
        check=False,
        env={**os.environ, "PYTHONIOENCODING": letters},
        timeout=60,
    )
    assert (done.returncode, done.stderr) == (0, b"")
    title = {"cp1252": "?uraw ünd", "ascii": "?uraw ?nd", "utf-8": "Żuraw ünd"}[letters]
    assert done.stdout.decode(letters).startswith(title)
