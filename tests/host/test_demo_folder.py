"""The demo's folder: what no demo wrote is never removed, and needs are looked at first."""

import shutil

import pytest

from handbell.base.errors import HandbellError
from handbell.base.files import beside
from handbell.cli.main import main
from handbell.work.trying.demo.folder import make_ready, seal

WRITTEN = (
    *("report.html", "screen.png", "store.sqlite", "store.sqlite-wal", "boxes/clock.json"),
    *("boxes/box1.flash", "boxes/box1.stderr", "boxes/ports/box1"),
)


def filled(out):
    """A folder as a demo leaves it."""
    make_ready(out)
    (out / "boxes" / "ports").mkdir(parents=True, exist_ok=True)
    for name in WRITTEN:
        (out / name).write_text(f"the demo's {name}", encoding="utf-8")
    return out


def everything(folder) -> dict[str, str]:
    return {
        str(p.relative_to(folder)): p.read_text(encoding="utf-8") if p.is_file() else ""
        for p in folder.rglob("*")
    }


def test_what_a_demo_wrote_makes_room_for_the_next(tmp_path):
    out = filled(tmp_path / "out")
    make_ready(out)
    assert [p.name for p in out.iterdir()] == ["demo"]
    filled(out)
    seal(out)
    make_ready(out)
    assert [p.name for p in out.iterdir()] == ["demo"]


def test_what_a_demo_that_was_killed_left_half_written_makes_room(tmp_path):
    out = filled(tmp_path / "out")
    beside(out / "report.html").write_text("half a page", encoding="utf-8")
    make_ready(out)
    assert [p.name for p in out.iterdir()] == ["demo"]


@pytest.mark.parametrize("note", [".DS_Store", "Thumbs.db", "desktop.ini"])
def test_a_file_browser_s_own_note_stops_no_demo_and_stays(tmp_path, note):
    """Who looked into the folder with one wrote nothing there."""
    out = filled(tmp_path / "out")
    for path in (out / note, out / "boxes" / note, out / "boxes" / "ports" / note):
        path.write_text("icons", encoding="utf-8")
    make_ready(out)
    left = {name for name, text in everything(out).items() if text}
    assert left == {"demo", note, f"boxes/{note}", f"boxes/ports/{note}"}
    filled(out)
    only = tmp_path / "only"
    only.mkdir()
    (only / note).write_text("icons", encoding="utf-8")
    make_ready(only)
    assert sorted(p.name for p in only.iterdir()) == sorted([note, "demo"])


@pytest.mark.parametrize(
    "theirs", ["monday.toml", "boxes/photo.jpg", "demo.txt", "ports/box1", ".report.html.mine"]
)
def test_a_file_of_somebody_s_in_the_demo_s_folder_stops_it(tmp_path, theirs):
    out = filled(tmp_path / "out")
    (out / theirs).parent.mkdir(exist_ok=True)
    (out / theirs).write_text("mine", encoding="utf-8")
    before = everything(out)
    with pytest.raises(HandbellError, match="nothing was removed"):
        make_ready(out)
    assert everything(out) == before


def test_a_folder_called_demo_is_no_mark_nor_is_somebody_s_own_file(tmp_path, capsys):
    """A folder with a plan, a photo and a folder ``demo`` stays as it was."""
    out = tmp_path / "theirs"
    out.mkdir()
    for name in ("monday.toml", "photo.jpg", "demo/lesson.txt"):
        (out / name).parent.mkdir(exist_ok=True)
        (out / name).write_text("mine", encoding="utf-8")
    before = everything(out)
    assert main(["demo", "--out", str(out)]) == 1
    assert "holds other files" in capsys.readouterr().err
    assert everything(out) == before
    shutil.rmtree(out / "demo")
    (out / "demo").write_text("my own notes on the demo", encoding="utf-8")
    assert main(["demo", "--out", str(out)]) == 1
    assert {n: everything(out)[n] for n in ("monday.toml", "photo.jpg", "demo")} == {
        "monday.toml": "mine",
        "photo.jpg": "mine",
        "demo": "my own notes on the demo",
    }


@pytest.mark.parametrize("name", ["report.html", "store.sqlite"])
def test_what_a_coach_went_on_working_with_is_not_removed(tmp_path, name):
    out = filled(tmp_path / "out")
    seal(out)
    (out / name).write_text("with a class of my own in it", encoding="utf-8")
    before = everything(out)
    with pytest.raises(HandbellError, match=f"{name} was changed since"):
        make_ready(out)
    assert everything(out) == before


def test_a_link_to_elsewhere_is_taken_away_and_what_it_leads_to_stays(tmp_path):
    out = filled(tmp_path / "out")
    (tmp_path / "mine.html").write_text("mine", encoding="utf-8")
    (out / "report.html").unlink()
    (out / "report.html").symlink_to(tmp_path / "mine.html")
    (out / "boxes" / "box2.flash").symlink_to(tmp_path)
    make_ready(out)
    assert (tmp_path / "mine.html").read_text(encoding="utf-8") == "mine"


def test_what_it_needs_is_looked_at_before_anything_is_removed(tmp_path, monkeypatch, capsys):
    out = filled(tmp_path / "out")
    before = everything(out)
    monkeypatch.setattr("shutil.which", lambda _: None)
    monkeypatch.setattr("sys.executable", str(tmp_path / "nowhere" / "python"))
    assert main(["demo", "--out", str(out)]) == 1
    assert "micropython" in capsys.readouterr().err
    assert everything(out) == before


def test_a_file_or_a_closed_folder_is_refused_in_a_sentence(tmp_path, capsys):
    file = tmp_path / "plan.toml"
    file.write_text("mine", encoding="utf-8")
    for out in (file, file / "below"):
        assert main(["demo", "--out", str(out)]) == 1
        err = capsys.readouterr().err
        assert str(file) in err and "Name an empty folder" in err
    assert file.read_text(encoding="utf-8") == "mine"
