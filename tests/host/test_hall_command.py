"""The hall of a computer: drawn once, named, shared; a damaged one is told and never drawn anew."""

import json

import classes
import pytest
from lying_box import LyingBox, no_pause_at_closing

from handbell.base.errors import BoxError
from handbell.boxes.classes.send import Load, _check
from handbell.boxes.link.connection import Connection
from handbell.cli.main import main
from handbell.compile.hall import stamped
from handbell.store import open_store
from handbell.store.halls.own import Hall, drawn_number, made_hall, own_hall, read_hall, save_hall
from handbell.store.logs.timelines import decode
from handbell_core import timeline as t

no_pause_at_closing = pytest.fixture(autouse=True)(no_pause_at_closing)

PLAN = 'title = "T"\n[[block]]\n[[block.exercise]]\nname = "Squat"\nwork_s = 30\n'


def said(capsys, *words):
    code = main([*words, "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_it_is_drawn_once_named_and_shared_with_a_second_computer(tmp_path, capsys, monkeypatch):
    assert said(capsys, "hall")[1]["data"]["number"] is None
    assert own_hall() is None, "to look draws none"
    assert main(["hall", "--name", 'North "1"']) == 0
    first = own_hall()
    assert first is not None and first.name == 'North "1"' and made_hall() == first
    assert main(["hall", "--share", str(tmp_path / "north.toml")]) == 0
    monkeypatch.setenv("HANDBELL_DATA", str(tmp_path / "second"))
    other = made_hall()
    assert other.number != first.number
    capsys.readouterr()
    assert main(["hall", "--join", str(tmp_path / "north.toml")]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert f"Before it was of hall {other.number[:8]}: classes that were sent until now" in out
    assert own_hall() == first
    code, told = said(capsys, "hall", "--join", str(tmp_path / "north.toml"))
    assert code == 0 and told["data"]["before"] is None, "twice does no harm"


@pytest.mark.parametrize(
    "text", ["", "number = 7\n", 'number = "00"\n', 'number = "0000000000000000"\n', "\x00", "[["]
)
def test_a_damaged_one_is_told_and_stays(tmp_path, capsys, text):
    mine = made_hall()
    path = tmp_path / "data" / "hall.toml"
    path.write_text(text, encoding="utf-8")
    for words in (["hall"], ["hall", "--name", "North"], ["doctor"]):
        assert main(words) == 1
        out = "".join(capsys.readouterr())
        assert "holds no hall" in out and "handbell hall --join FILE" in " ".join(out.split())
    assert path.read_text(encoding="utf-8") == text
    save_hall(mine, tmp_path / "copy.toml")
    assert main(["hall", "--join", str(tmp_path / "copy.toml")]) == 0
    assert "one that can't be read any more" in " ".join(capsys.readouterr().out.split())
    assert read_hall(path) == mine


def test_what_is_no_name_or_no_file_is_refused(tmp_path, capsys):
    for words in (["--name", " "], ["--name", "x" * 41], ["--name", "a\x07b"]):
        assert main(["hall", *words]) == 2
    assert own_hall() is None
    assert main(["hall", "--join", str(tmp_path / "none.toml")]) == 1
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    assert main(["hall", "--share", str(tmp_path / "plan.toml")]) == 1
    assert (tmp_path / "plan.toml").read_text(encoding="utf-8") == PLAN
    assert "Traceback" not in capsys.readouterr().err


def test_numbers_are_of_64_bits_and_never_none():
    drawn = {drawn_number() for _ in range(200)}
    assert len(drawn) == 200 and all(0 < int(one, 16) < 1 << 64 for one in drawn)


def test_doctor_tells_the_number_and_not_the_name(capsys):
    save_hall(Hall("00000000000000aa", "Uma's"))
    main(["doctor"])
    out = capsys.readouterr().out
    assert "00000000000000aa" in out and "Uma" not in out


def test_what_is_sent_tells_the_hall_and_a_damaged_one_stops_no_class(tmp_path, capsys):
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    for damaged in (False, True):
        with LyingBox() as box:
            if damaged:
                (tmp_path / "data" / "hall.toml").write_text("", encoding="utf-8")
            code = main(["send", str(plan), "--port", box.url])
            out = " ".join("".join(capsys.readouterr()).split())
            (sent,) = box.files["timelines"].values()
        assert code == 0, out
        assert ("This class is sent without a hall" in out) == damaged
        if not damaged:
            hall = made_hall().number
            assert decode(sent).hall == hall
            with open_store(make=False) as store:
                assert store.has_timeline(decode(sent).digest)
        else:
            assert decode(sent).hall is None


def test_a_box_of_before_halls_plays_a_plan_that_tells_one():
    data = stamped(classes.timeline(), "00000000000000aa")
    assert (data[4], t.Head.unpack(data).station) == (0x21, 1)
    with LyingBox() as box:
        box.hello |= {"tl": 2, "buttons": 4}
        with Connection(box.url) as connection:
            connection.hello()
            _check(connection, Load(1, "", decode(data).digest, data, 2))
            with pytest.raises(BoxError):
                _check(connection, Load(1, "", "", data[:4] + b"\x23" + data[5:], 2))
