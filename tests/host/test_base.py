"""What every room stands on: whole files, the environment's names, words and times."""

import ast
import os
import stat
from datetime import date
from pathlib import Path

import pytest

from handbell.base import places
from handbell.base.errors import HandbellError
from handbell.base.files import whole_file, write_whole
from handbell.base.markup import isolated, isolated_alone
from handbell.base.times import clock, clock_hours, day_of, days_of, whole_clock
from handbell.base.words import few, listed, quoted, several

ROOT = Path(__file__).parents[2]
HOST = ROOT / "host" / "handbell"
# Where bytes go that are no whole file of ours: a board's drive, its flash, half a transfer.
RAW = {"base/files.py", "boxes/firmware/drives.py", "boxes/classes/collect.py", "virtual/spec.py"}
RAW |= {"virtual/box.py", "virtual/compiled.py", "cli/output.py", "work/trying/virtual_boxes.py"}


def _modules():
    for path in sorted(HOST.rglob("*.py")):
        name = path.relative_to(HOST).as_posix()
        if "firmware/board/" not in name and "standin" not in name:
            yield name, path.read_text(encoding="utf-8")


def test_files_are_written_in_one_place():
    odd = []
    for name, text in _modules():
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                wrote = node.func.attr in ("write_text", "write_bytes", "mkstemp")
                modes = [getattr(a, "value", None) for a in node.args]
                wrote |= node.func.attr == "open" and modes in (["w"], ["wb"])
                if wrote and name not in RAW:
                    odd.append(f"{name}:{node.lineno}")
    assert not odd


def test_the_table_holds_every_variable_that_is_read():
    for name, text in _modules():
        if name != "base/places.py":
            for node in ast.walk(ast.parse(text)):
                said = isinstance(node, ast.Constant) and node.value in places.VARIABLES
                assert not said, f"{name}:{node.lineno}"
    page = (ROOT / "docs" / "engineers" / "settings.md").read_text(encoding="utf-8")
    rows = [line for line in page.splitlines() if line.startswith("| `HANDBELL_")]
    assert rows == [f"| `{name}` | {says} |" for name, says in places.VARIABLES.items()]


def test_a_file_is_the_old_one_until_the_new_one_is_whole(tmp_path):
    path = tmp_path / "a" / "plan.toml"
    write_whole(path, "old\r\n")
    path.chmod(0o600)
    with pytest.raises(ZeroDivisionError), whole_file(path) as file:
        file.write(b"half")
        assert path.read_bytes() == b"old\r\n"
        raise ZeroDivisionError
    assert path.read_bytes() == b"old\r\n"
    write_whole(path, b"new")
    assert path.read_bytes() == b"new" and stat.S_IMODE(path.stat().st_mode) == 0o600
    assert [p.name for p in path.parent.iterdir()] == ["plan.toml"]


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
def test_a_link_goes_on_pointing_at_its_file(tmp_path):
    path, link = tmp_path / "real.toml", tmp_path / "link.toml"
    path.write_text("old", encoding="utf-8")
    link.symlink_to(path)
    write_whole(link, "new")
    assert link.is_symlink() and path.read_text(encoding="utf-8") == "new"


def test_what_cant_be_written_is_said_with_what_to_do(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(HandbellError, match=r"x can't be written: .*\. Try there"):
        write_whole(tmp_path / "file" / "x", "", "Try there")
    with pytest.raises(HandbellError, match=r"is a folder\. Name a file in it"):
        write_whole(tmp_path, "")
    with pytest.raises(HandbellError, match="signs that are no letters"):
        write_whole(tmp_path / "x", "\udcff")


def test_words():
    assert [listed("abc"[:n]) for n in range(4)] == ["", "a", "a and b", "a, b and c"]
    assert listed(["a", "b", "c"], "or") == "a, b or c"
    assert [several(n, "log") for n in (0, 1, 2)] == ["0 logs", "1 log", "2 logs"]
    assert several(2, "person", "people") == "2 people"
    assert few("abc", 2) == ["a", "b", "c"] and few("abcd", 2) == ["a", "b", "2 more"]
    assert quoted("a\u200bb") == '"a\\u200bb"'


def test_times():
    assert [clock(ms) for ms in (0, 59_999, 60_000, 3_599_000)] == [
        "0:00",
        "0:59.9",
        "1:00",
        "59:59",
    ]
    assert clock(4_810_000) == clock_hours(4_810_000) == "1:20:10"
    assert whole_clock(83_456) == "1:23" and clock_hours(5_000) == "0:00:05"
    year = date(2026, 12, 30)
    assert days_of(year, date(2027, 1, 2)) == "30 December 2026 to 2 January 2027"
    assert days_of(year, year) == "30 December 2026"
    assert day_of(year) == day_of(year, date(2026, 1, 1)) == "30 Dec"
    assert day_of(year, date(2027, 1, 2)) == "30 Dec 2026"


def test_a_name_from_right_to_left_moves_nothing_beside_it():
    said = isolated("נועה א, נועה & Ada: 3", ["נועה", "נועה א", "Ada", "&"])
    assert said == "<bdi>נועה א</bdi>, <bdi>נועה</bdi> &amp; Ada: 3"
    assert isolated("<b> Ada", []) == "&lt;b&gt; Ada"
    joined = "می\u200cخواهم"
    assert isolated(f"{joined}: 1", [joined]) == f"<bdi>{joined}</bdi>: 1"


def test_a_name_from_right_to_left_moves_nothing_in_a_title():
    """Unicode Standard Annex 9: FSI (U+2068) and PDI (U+2069) set a part of a line apart."""
    assert isolated_alone("נועה") == "\u2068נועה\u2069"
    assert isolated_alone("Ada & Otto") == "Ada & Otto"


def test_a_dash_is_no_name_of_a_file(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(HandbellError, match="- is no name of a file"):
        write_whole(Path("-"), "x")
    assert list(tmp_path.iterdir()) == []


def test_a_question_has_no_full_stop_behind_it():
    asked = HandbellError('"Pushup" is not there', "Did you mean Push-up?")
    assert str(asked) == '"Pushup" is not there. Did you mean Push-up?'
    assert str(HandbellError("Nothing is written")) == "Nothing is written."
