"""What README and docs show: every command runs, in order, against boxes; every plan loads."""

import json
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from handbell.boxes.clocks.marks import Walk
from handbell.cli.main import COMMANDS, main
from handbell.plan.schema import schema_text
from handbell.virtual.box import BoxSpec
from handbell.virtual.world import World

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
COACHES = ROOT / "docs" / "coaches"
MOST_WORDS = 7_900  # to be read on all the coaches' pages; a coach reads half a minute
IDS = ("b000000000000a01", "b000000000000a02", "b000000000009f21")  # one ends as the manual's
STAYS = {"virtual"}  # runs until it is left; has tests of its own


def named(page: Path) -> str:
    return page.relative_to(ROOT).as_posix()


def commands(page: Path) -> list[list[str]]:
    shown = re.findall(r"```console\n(.*?)```", page.read_text(encoding="utf-8"), re.S)
    lines = [line[2:] for block in shown for line in block.splitlines() if line.startswith("$ ")]
    return [shlex.split(line) for line in lines]


def pages_with_commands() -> list[Path]:
    return [page for page in PAGES if commands(page)]


@pytest.mark.parametrize("page", pages_with_commands(), ids=named)
def test_commands_run_in_order(page, tmp_path, monkeypatch, capsys, demo_out):
    """The store holds the demo's class already, as a coach's would hold older ones."""
    shutil.copy(demo_out / "store.sqlite", tmp_path / "store.sqlite")
    monkeypatch.setenv("HANDBELL_STORE", str(tmp_path / "store.sqlite"))
    (tmp_path / "docs").symlink_to(ROOT / "docs")
    monkeypatch.chdir(tmp_path)
    with World(tmp_path / "world") as world:
        for n, unique_id in enumerate(IDS, 1):
            flash = tmp_path / f"box{n}.flash"
            world.add_box(BoxSpec(f"box{n}", bytes.fromhex(unique_id), flash, buttons=2))
        monkeypatch.setenv("HANDBELL_PORTS", " ".join(box.url for box in world.boxes))
        monkeypatch.setenv("HANDBELL_CLOCK", str(world.clock_path))
        for words in commands(page):
            assert words[0] == "handbell" and words[1] in COMMANDS, words
            if words[1] in STAYS:
                continue
            code = main(words[1:])
            out, err = capsys.readouterr()
            assert code == 0, (words, out, err)
            assert "Traceback" not in out + err
            if words[1] == "arm":
                world.run_for(1_500_000_000)


def test_every_command_is_in_the_manual_or_the_readme():
    text = "".join(page.read_text(encoding="utf-8") for page in PAGES)
    for command in COMMANDS:
        assert f"handbell {command}" in text, command


def test_no_page_promises_step_to_boxes_that_are_pressed_one_after_another():
    pages = {p.name: " ".join(p.read_text(encoding="utf-8").split()) for p in COACHES.iterdir()}
    for name in ("classes.md", "plans.md"):
        assert "go on together only if all" in pages[name]
    assert "you can walk round" not in pages["classes.md"]
    assert "pressed at different moments go on together" not in pages["plans.md"]
    told = Walk(4, 30).words()
    assert "hold each of the others once more" not in pages["classes.md"], "under 5 s are left then"
    assert "5 s for every box: 20 s for four" in pages["classes.md"]
    assert "under 35 s" in pages["classes.md"] and "can't catch up" in pages["classes.md"]
    assert "about 5 times in 10" in told and "about 5 times in 10" in pages["classes.md"]


ACTIVATE = ". .venv/bin/activate"


@pytest.mark.parametrize(
    "name", ["README.md", "docs/coaches/first-class.md", "docs/coaches/classes.md"]
)
def test_a_newcomer_is_told_how_handbell_is_found_before_the_first_command(name):
    before, _, _ = (ROOT / name).read_text(encoding="utf-8").partition("$ handbell")
    assert f"    {ACTIVATE}\n" in before


def test_make_demo_ends_with_the_line_to_type_next():
    if shutil.which("make") is None:
        pytest.skip("no make here")
    says = subprocess.run(
        ["make", "--dry-run", "demo"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout
    assert ACTIVATE in says.partition("handbell demo")[2]


def test_that_line_finds_handbell(tmp_path):
    activate = Path(sys.prefix) / "bin" / "activate"
    if not activate.exists():
        pytest.skip("not run from a virtual environment")
    found = subprocess.run(
        ["sh", "-c", f". {shlex.quote(str(activate))} && command -v handbell"],
        cwd=tmp_path,
        env={"PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert Path(found.strip()).parent == activate.parent


@pytest.mark.parametrize("page", PAGES, ids=named)
def test_links_lead_somewhere(page):
    for target in re.findall(r"\]\(([^)#]+)", page.read_text(encoding="utf-8")):
        if "://" not in target:
            assert (page.parent / target).exists(), target


def test_the_coaches_shelf_stays_short():
    pages = [page for page in COACHES.iterdir() if page.name != "loads.md"]  # a table, to look up
    words = {page.name: words_to_read(page.read_text(encoding="utf-8")) for page in pages}
    assert len(words) > 10 and sum(words.values()) <= MOST_WORDS, words


def words_to_read(text):
    """Count what is read: no pictures, no addresses of links, no bars of tables."""
    text = re.sub(r"\]\([^)]*\)", "]", re.sub(r"!\[[^\]]*\]\([^)]*\)", "", text))
    return sum(bool(re.search(r"\w", word)) for word in text.split())


def test_every_key_that_coaches_are_shown_is_one():
    """The page with every key is held against the model by tests/host/test_plan_files.py."""
    schema = json.loads(schema_text())
    tables = [schema, *schema["$defs"].values()]
    known = {key for table in tables for key in table.get("properties", ())}
    shown = set()
    for name in ("plans.md", "fitting.md"):
        text = (COACHES / name).read_text(encoding="utf-8")
        for table in re.findall(r"^\| key \|.*?\n\n", text, re.M | re.S):
            for cell in re.findall(r"^\| ([^|]+) \|", table, re.M):
                shown |= set(re.findall(r"`\W*(\w+)\W*`", cell))
    assert len(shown) > 30 and shown <= known, shown - known


def test_the_first_class_says_how_to_install_on_each_system():
    page = (COACHES / "first-class.md").read_text(encoding="utf-8")
    before, _, windows = page.partition("**Windows.**")
    assert "    make demo\n" in before and "**Linux and macOS.**" in before
    windows = windows.partition("\n## ")[0]
    assert "    py -m venv .venv\n" in windows and "make demo" not in windows
    (extras,) = re.findall(r'pip install "\.\[([a-z,]+)\]"', windows)
    known = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert all(f"\n{extra} = [" in known for extra in extras.split(","))
    assert "virtual" not in extras, "there are no virtual boxes on Windows"


@pytest.mark.parametrize("page", [*PAGES, ROOT / "DEVELOPERS.md"], ids=named)
def test_the_files_and_folders_that_a_page_names_are_there(page):
    said = re.findall(
        r"`((?:host/handbell|firmware|tests|hardware)/[\w/.-]+)`", page.read_text(encoding="utf-8")
    )
    assert [place for place in said if not (ROOT / place).exists()] == []
