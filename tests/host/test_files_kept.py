"""No command takes a coach's own file for a place to write."""

import shutil
import wave
import zipfile
from pathlib import Path

import pytest

from handbell.base.errors import HandbellError
from handbell.base.files import beside, write_whole
from handbell.cli.main import main

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
    assert beside(path).parent == path.parent and beside(path) != beside(path)
    write_whole(path, "<!doctype html>", own_sort=True)
    with pytest.raises(HandbellError, match="holds something else"):
        write_whole(path, "title = 1", own_sort=True)
    assert path.read_text(encoding="utf-8") == "<!doctype html>"
    assert [p.name for p in tmp_path.iterdir()] == ["x.html"]


def _zip(path, *names):
    with zipfile.ZipFile(path, "w") as file:
        for name in names:
            file.writestr(name, "x")


def _wav(path, rate_hz=44_100, channels=2):
    with wave.open(str(path), "wb") as file:
        file.setnchannels(channels)
        file.setsampwidth(2)
        file.setframerate(rate_hz)
        file.writeframes(bytes(64))


OURS_HTML = '<!doctype html>\n<html lang="en">\n<head>\n'
# Files of a coach's own that begin as one of ours does: a letter, a sheet, a book, another
# program's calendar, a card of a person, a page from elsewhere, a song, a table, a picture.
OWN_FILES = {
    "class.zip": [lambda p: _zip(p, "[Content_Types].xml", "word/document.xml")],
    "class.json": [lambda p: p.write_text('{"fonts": "mine"}'), lambda p: p.write_text("{}")],
    "class.ics": [
        lambda p: p.write_bytes(b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Mine//EN\r\n"),
        lambda p: p.write_bytes(b"BEGIN:VCARD\r\nVERSION:3.0\r\n"),
    ],
    "class.html": [lambda p: p.write_text(OURS_HTML + "<title>My club</title>")],
    "class.wav": [_wav],
    "class.csv": [lambda p: p.write_text("start,name,phone\n"), lambda p: p.write_text("a\n")],
}


def _words_for(name, plan, store):
    return {
        "class.zip": ["export", "--store", store, "--as", "bundle"],
        "class.json": ["export", "--store", store, "--as", "json"],
        "class.ics": ["show", str(plan), "--at", "2026-12-01 18:00", "--calendar"],
        "class.html": ["report", "--store", store, "--html"],
        "class.wav": ["rehearse", str(plan), "--from", "0:00", "--to", "0:20", "--out"],
        "class.csv": ["show", str(plan), "--csv"],
    }[name]


@pytest.mark.parametrize("name", OWN_FILES)
def test_a_file_that_only_begins_like_one_of_ours_stays(plan, demo_out, capsys, name):
    path = plan.with_name(name)
    words = [*_words_for(name, plan, str(demo_out / "store.sqlite")), str(path)]
    for make in OWN_FILES[name]:
        path.unlink(missing_ok=True)
        make(path)
        own = path.read_bytes()
        assert main(words) == 1 and path.read_bytes() == own
        assert f"{name} is there already and holds something else" in capsys.readouterr().err
    path.unlink()
    for _ in range(2):
        assert main(words) == 0
    assert path.read_bytes() != own


def test_a_table_of_another_program_is_not_replaced(plan, demo_out, capsys):
    import pyarrow as pa
    import pyarrow.parquet as pq

    folder = plan.parent / "out"
    folder.mkdir()
    pq.write_table(pa.table({"mine": [1]}), folder / "runs.parquet")
    own = (folder / "runs.parquet").read_bytes()
    (folder / "roster.csv").write_text("person;bib\n", encoding="utf-8")
    words = ["export", "--store", str(demo_out / "store.sqlite"), "--as"]
    assert main([*words, "parquet", str(folder)]) == 1
    assert main([*words, "csv", str(folder)]) == 1
    assert (folder / "runs.parquet").read_bytes() == own
    assert (folder / "roster.csv").read_text(encoding="utf-8") == "person;bib\n"
    assert capsys.readouterr().err.count("holds something else") == 2


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
