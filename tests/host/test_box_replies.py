"""Boxes that lie: what a box says never leaves its bounds, whatever it is used for."""

import binascii
import json
from dataclasses import is_dataclass

import pytest
from lying_box import ID, LyingBox, digest, no_pause_at_closing

from handbell.base.errors import BoxError
from handbell.boxes.classes.collect import collect
from handbell.boxes.classes.send import Load, put
from handbell.boxes.link import replies
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.fleet import Fleet
from handbell.cli.main import main
from handbell.store import open_store

ODD = (
    *("../../x-", "/tmp/x-", "a\x00b", "", "\x1b[2J\x1b]0;x\x07", "[/b]", "x" * 200, "0" * 24),
    *(10**30, -(10**30), 2**63, -1, 1.5, float("inf"), float("nan")),
    *(None, True, [], [1], {}, {"a": 1}),
)
SOME = ("\x1b[2J", "../../x-", 10**30, float("inf"), None, {"a": 1})
REQUESTS = {
    "hello": ("id", "fw", "ln", "station", "label", "buttons", "boot", "board"),
    "status": ("state", "sel", "mv", "usb", "low", "kb", "runs", "fault", "clock", "bound_us"),
    "time": ("t2", "t3"),
    "clock": ("ppb", "ppb_bound", "rate_utc_us"),
    "put": ("at",),
    "list": ("n", "name", "size", "d", "open", "bad"),
    "get": ("b",),
    "drop": ("gone",),
    "arm": ("utc_ms",),
}
KINDS = {kind.do: kind for kind in vars(replies).values() if isinstance(kind, replies.Kind)}
FIELDS = [(do, field) for do, fields in REQUESTS.items() for field in fields]
COMMANDS = {
    "hello": ("boxes", "collect"),
    "status": ("boxes", "arm"),
    "time": ("collect",),
    "clock": ("arm",),
    "put": ("send",),
    "arm": ("arm",),
}
PLAN = """
title = "Solo"
[[block]]
rounds = 2
  [[block.exercise]]
  name = "Squat"
  work_s = 20
  rest_s = 10
"""


no_pause_at_closing = pytest.fixture(autouse=True)(no_pause_at_closing)


@pytest.fixture
def box():
    with LyingBox() as made:
        yield made


def values(message) -> list:
    """Every value in a message that a reply was read into."""
    if is_dataclass(message):
        return [value for one in vars(message).values() for value in values(one)]
    if isinstance(message, bytes) or message is None:
        return []
    return [message]


def outside(tmp_path) -> set[str]:
    """What is below the test's folder, but for the data folder's own store."""
    return {str(p.relative_to(tmp_path)) for p in tmp_path.rglob("*") if "store" not in p.name}


def run(command: str, box: LyingBox, tmp_path, capsys) -> tuple[int, str]:
    plan = tmp_path / "solo.toml"
    plan.write_text(PLAN, encoding="utf-8")
    words = {"send": ["send", str(plan)], "arm": ["arm", "--in", "1m"]}.get(command, [command])
    code = main([*words, "--port", box.url])
    out, err = capsys.readouterr()
    return code, out + err


@pytest.mark.parametrize("do, field", FIELDS, ids=lambda v: str(v))
def test_no_odd_value_breaks_a_command_or_reaches_the_screen_raw(do, field, box, tmp_path, capsys):
    """Each command ends with its own exit code: an exception of another kind would come here."""
    box.files["runs"]["00001.hbj"] = b"no journal" * 40
    for command in COMMANDS.get(do, ("collect",)):
        if command == "arm":
            box.lies.clear()
            assert run("send", box, tmp_path, capsys)[0] == 0
        for odd in SOME:
            box.lies[do] = lambda _, honest, odd=odd: honest | {field: odd}
            code, said = run(command, box, tmp_path, capsys)
            assert code in (0, 1), (odd, said)
            assert "\x1b" not in said and "\x07" not in said and "Traceback" not in said
            if command == "send":
                box.files["timelines"].clear()
                box.part = b""


@pytest.mark.parametrize("do, field", FIELDS, ids=lambda v: str(v))
def test_an_odd_value_is_refused_or_made_harmless(do, field, box):
    """What comes through has the honest value's type, in its bounds; texts are for any screen."""
    box.files["runs"]["00001.hbj"] = bytes(24)
    asked = {"do": do, "of": "runs", "i": 0, "name": "00001.hbj", "at": 0, "n": 24, "utc_ms": 5}
    asked |= {"d": digest(bytes(24)), "b": ""}
    honest = box._reply(asked | {"q": 1, "s": "s"})
    for odd in ODD:
        try:
            message = replies.read("Box 1", KINDS[do], asked, honest | {field: odd})
        except BoxError as error:
            assert str(error).startswith("Box 1: answered what no box of ours would")
            continue
        for value in values(message):
            assert type(value) in (int, bool) or (isinstance(value, str) and value.isprintable())
            assert not isinstance(value, int) or abs(value) <= 2**53


@pytest.mark.parametrize("where", ["absolute", "../../x-", "..", "0" * 15, "0" * 17, "E" * 16, 7])
def test_an_id_never_becomes_a_path(where, box, tmp_path):
    box.hello["id"] = str(tmp_path / "site" / "x") if where == "absolute" else where
    box.files["runs"]["00001.hbj"] = b"import os" * 60
    before = outside(tmp_path)
    with Fleet([box.url]) as fleet, open_store(str(tmp_path / "store.sqlite")) as store:
        assert fleet.connections == [] and len(fleet.strangers) == 1
        assert "answered what no box of ours would" in str(fleet.strangers[0].error)
        assert collect(fleet, store) == []
    assert outside(tmp_path) == before


@pytest.mark.parametrize("field", ["d", "name"])
@pytest.mark.parametrize("path", ["absolute", "../../../x-y", "..", "0" * 23 + "G"])
def test_a_name_or_a_digest_never_becomes_a_path(field, path, box, tmp_path):
    """The log breaks off on the way, when what has come so far would be kept in a file."""
    told = str(tmp_path / "evil-x") if path == "absolute" else path
    box.files["runs"]["00001.hbj"] = bytes(400)
    box.lies["list"] = lambda _, honest: honest | {field: told}
    box.lies["get"] = lambda message, honest: {"no": 36} if message["at"] else honest
    before = outside(tmp_path)
    with Fleet([box.url]) as fleet, open_store(str(tmp_path / "store.sqlite")) as store:
        (outcome,) = collect(fleet, store)
    assert "answered what no box of ours would" in str(outcome.error)
    assert outside(tmp_path) - before <= {"data", "data/partial"}


def test_what_came_before_a_break_is_kept_under_the_boxs_own_id(box, tmp_path):
    data = bytes(400)
    box.files["runs"]["00001.hbj"] = data
    box.lies["get"] = lambda message, honest: {"no": 36} if message["at"] else honest
    with Fleet([box.url]) as fleet, open_store(str(tmp_path / "store.sqlite")) as store:
        collect(fleet, store)
    (kept,) = (tmp_path / "data" / "partial").iterdir()
    assert kept.name == f"{ID}-{digest(data)}"


@pytest.mark.parametrize("lie", ["stays", "goes back", "says 1", "jumps past the end"])
def test_a_transfer_that_does_not_go_on_ends(lie, box):
    data = bytes(range(256)) * 4
    answers = {"stays": 0, "says 1": 1, "jumps past the end": 10**6}

    def lying(message, honest):
        if lie == "goes back":
            return {"at": 168 if message["at"] < 168 and message["b"] else 0}
        return {"at": answers[lie]} if message["b"] else {"at": 0}

    box.lies["put"] = lying
    with Connection(box.url) as connection:
        connection.hello()
        with pytest.raises(BoxError, match="no box of ours"):
            put(connection, Load(1, "One", digest(data), data))
    assert len(box.asked) < 10


@pytest.mark.parametrize(
    "lie",
    [
        {"n": 10**9},
        {"n": 4000, "name": "00001.hbj", "size": 24, "d": "0" * 24},
        {"n": 1, "name": "00001.hbj", "size": 10**15, "d": "0" * 24},
        {"n": 1, "name": "00001.hbj", "size": "24", "d": "0" * 24},
        {"n": 1, "name": "00001.hbj", "size": 24},
    ],
)
def test_a_list_without_end_or_sense_ends(lie, box, tmp_path):
    box.lies["list"] = lambda *_: lie
    with Fleet([box.url]) as fleet, open_store(str(tmp_path / "store.sqlite")) as store:
        (outcome,) = collect(fleet, store)
    assert "no box of ours" in str(outcome.error)
    assert len([m for m in box.asked if m["do"] == "list"]) <= 2


def test_a_log_that_is_said_to_be_gone_and_is_not_ends_too(box, tmp_path):
    box.files["runs"]["00001.hbj"] = b"no journal" * 40
    box.lies["drop"] = lambda *_: {"gone": True}
    with Fleet([box.url]) as fleet, open_store(str(tmp_path / "store.sqlite")) as store:
        (outcome,) = collect(fleet, store)
    assert outcome.error is None and len([m for m in box.asked if m["do"] == "drop"]) == 1


def test_more_bytes_than_asked_for_are_refused(box, tmp_path):
    box.files["runs"]["00001.hbj"] = bytes(400)
    many = binascii.b2a_base64(bytes(200)).decode()
    box.lies["get"] = lambda *_: {"b": many}
    with Fleet([box.url]) as fleet, open_store(str(tmp_path / "store.sqlite")) as store:
        assert "no box of ours" in str(collect(fleet, store)[0].error)


def test_one_strange_box_stops_no_other(tmp_path, capsys):
    with LyingBox() as strange, LyingBox("e66164084b0000a2", station=2) as sound:
        strange.hello["id"] = ["a list can't be a key"]
        strange.hello["station"] = "a word can't be sorted among numbers"
        with Fleet([strange.url, sound.url]) as fleet:
            assert [c.who.id for c in fleet.connections] == ["e66164084b0000a2"]
            assert len(fleet.strangers) == 1


def test_a_label_is_shown_as_it_stands_and_without_control_signs(box, capsys):
    box.hello["label"] = "Door [left] x[/b] \x1b[31m\u202e"
    assert main(["boxes", "--port", box.url]) == 0
    out = capsys.readouterr().out
    assert "Door [left] x[/b] ?[31m?" in out
    assert main(["boxes", "--json", "--port", box.url]) == 0
    assert (
        json.loads(capsys.readouterr().out)["data"]["boxes"][0]["box"] == "Door [left] x[/b] ?[31m?"
    )


def test_a_box_of_another_version_is_told_to_be_renewed_whatever_else_it_says(box):
    box.hello |= {"ln": 99, "station": None, "label": 5}
    with Fleet([box.url]) as fleet:
        (connection,) = fleet.connections
        assert (connection.who.station, connection.who.label) == (0, "")
        with pytest.raises(BoxError, match="speaks another version"):
            connection.ask(replies.RING)


def test_the_second_of_two_boxes_with_one_id_is_named_and_left_out(capsys):
    with LyingBox(station=1) as first, LyingBox(station=2) as second:
        with Fleet([second.url, first.url]) as fleet:
            assert [c.url for c in fleet.connections] == [first.url]
        assert main(["boxes", "--port", first.url, "--port", second.url]) == 1
        said = capsys.readouterr().out.replace("\n", " ")
        assert f"{second.url}: this box has the same id as Box 1" in said
