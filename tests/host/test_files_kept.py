"""No command takes a coach's own file for a place to write."""

import shutil
from pathlib import Path

import pytest

from handbell.cli.main import main
from handbell.errors import HandbellError
from handbell.files import beside, replace_like

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "docs" / "examples" / "three-block.toml"


@pytest.fixture
def plan(tmp_path):
    path = tmp_path / "monday.toml"
    shutil.copy(EXAMPLE, path)
    return path


def kept(plan) -> bool:
    return plan.read_bytes() == EXAMPLE.read_bytes()


def test_a_page_takes_the_place_of_a_page_and_never_of_a_plan(plan, demo_out, capsys):
    words = ["report", "--store", str(demo_out / "store.sqlite"), "--html"]
    assert main([*words, str(plan)]) == 1 and kept(plan)
    assert "monday.toml is there already and holds something else" in capsys.readouterr().err
    page = plan.with_name("monday.html")
    assert main([*words, str(page)]) == 0
    page.write_text(page.read_text(encoding="utf-8") + "<!-- older -->", encoding="utf-8")
    assert main([*words, str(page)]) == 0
    assert "<!-- older -->" not in page.read_text(encoding="utf-8")
    assert main([*words, str(plan.parent)]) == 1, "a folder is no place for a page"
    assert "is a folder" in capsys.readouterr().err
    assert sorted(p.name for p in plan.parent.iterdir() if p.is_file()) == [page.name, plan.name]


def test_a_sound_takes_the_place_of_a_sound_and_never_of_another_file(plan, capsys):
    song = plan.with_name("class.wav")
    song.write_bytes(b"OggS a song of the coach's")
    words = ["rehearse", str(EXAMPLE), "--from", "0:00", "--to", "0:20", "--out"]
    assert main([*words, str(song)]) == 1
    assert "holds something else" in capsys.readouterr().err
    assert song.read_bytes().startswith(b"OggS")
    assert main([*words, str(plan)]) in (1, 2) and kept(plan)
    fresh = plan.with_name("new.wav")
    assert main([*words, str(fresh)]) == 0
    assert main([*words, str(fresh)]) == 0
    assert fresh.read_bytes()[:4] == b"RIFF"


@pytest.mark.parametrize("ending", [".tmp", ".part"])
def test_a_file_of_somebody_s_that_is_called_like_a_half_written_one_stays(plan, ending):
    own = plan.with_name(plan.name + ending)
    own.write_text("mine", encoding="utf-8")
    assert main(["fit", str(plan), "--minutes", "20", "--write"]) == 0
    assert own.read_text(encoding="utf-8") == "mine" and not kept(plan)
    assert sorted(p.name for p in plan.parent.iterdir() if p.is_file()) == [plan.name, own.name]


def test_an_empty_file_may_be_filled_and_names_never_meet(tmp_path):
    path = tmp_path / "x.html"
    path.touch()
    fresh = beside(path)
    assert fresh.parent == path.parent and fresh != beside(path)
    fresh.write_text("<!doctype html>", encoding="utf-8")
    replace_like(fresh, path)
    fresh.write_text("title = 1", encoding="utf-8")
    with pytest.raises(HandbellError, match="holds something else"):
        replace_like(fresh, path)
    assert path.read_text(encoding="utf-8") == "<!doctype html>"


@pytest.mark.parametrize("kind", ["bundle", "json"])
def test_an_export_takes_the_place_of_an_export_and_never_of_a_plan(plan, demo_out, capsys, kind):
    words = ["export", "--store", str(demo_out / "store.sqlite"), "--as", kind]
    assert main([*words, str(plan)]) == 1 and kept(plan)
    assert "monday.toml is there already and holds something else" in capsys.readouterr().err
    fresh = plan.with_name(f"classes.{kind}")
    assert main([*words, str(fresh)]) == 0
    first = fresh.read_bytes()
    assert main([*words, str(fresh)]) == 0 and fresh.read_bytes() == first
    other = ["json", "bundle"][kind == "json"]
    assert main([*words[:-1], other, str(fresh)]) == 1 and fresh.read_bytes() == first
    assert sorted(p.name for p in plan.parent.iterdir() if p.is_file()) == [fresh.name, plan.name]


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_tables_take_the_place_of_tables_and_never_of_another_file(plan, demo_out, capsys, kind):
    folder = plan.parent / "out"
    words = ["export", "--store", str(demo_out / "store.sqlite"), "--as", kind, str(folder)]
    assert main(words) == 0 and main(words) == 0
    if kind == "csv":
        assert main([*words, "--bom"]) == 0 and main(words) == 0, "a mark makes no other file"
    own = folder / f"runs.{kind}"
    shutil.copy(EXAMPLE, own)
    part = folder / f"classes.{kind}.part"
    part.write_text("mine", encoding="utf-8")
    capsys.readouterr()
    assert main(words) == 1 and kept(own)
    assert f"runs.{kind} is there already and holds something else" in capsys.readouterr().err
    assert part.read_text(encoding="utf-8") == "mine"
