"""What README and docs show: every command runs, in order, against boxes; every plan loads."""

import re
import shlex
import shutil
from pathlib import Path

import pytest

from handbell.cli.main import COMMANDS, main
from handbell.virtual.box import BoxSpec
from handbell.virtual.world import World

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
IDS = ("b000000000000a01", "b000000000000a02", "b000000000009f21")  # one ends as the manual's
STAYS = {"virtual"}  # runs until it is left; has tests of its own


def commands(page: Path) -> list[list[str]]:
    shown = re.findall(r"```console\n(.*?)```", page.read_text(encoding="utf-8"), re.S)
    lines = [line[2:] for block in shown for line in block.splitlines() if line.startswith("$ ")]
    return [shlex.split(line) for line in lines]


def pages_with_commands() -> list[Path]:
    return [page for page in PAGES if commands(page)]


@pytest.mark.parametrize("page", pages_with_commands(), ids=lambda p: p.name)
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


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_links_lead_somewhere(page):
    for target in re.findall(r"\]\(([^)#]+)", page.read_text(encoding="utf-8")):
        if "://" not in target:
            assert (page.parent / target).exists(), target
