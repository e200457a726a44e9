"""Older and newer boxes, logs and plans: what can be understood is, the rest is told in words."""

import binascii
import io
import struct

import pytest
from lying_box import LyingBox, digest, no_pause_at_closing

from handbell.base.errors import BoxError, StoreError, UnreadJournalError
from handbell.boxes.classes.collect import collect
from handbell.boxes.classes.send import Load, send
from handbell.boxes.classes.stations import StationMap
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.fleet import Fleet
from handbell.cli.main import main
from handbell.compile.timeline_writer import head_bytes
from handbell.store import ingest_run, open_store
from handbell.store.logs.salvage import unread
from handbell_core import faults, journal, timeline

# Written by the core as it was when the formats had just these versions: one window of 30 s at
# station 1, bibs 7 and 8; in the second plan bib 8 has a task of its own. Bib 7 taps twice.
TIMELINE_1 = bytes.fromhex(
    "4842544c01280000020000000100000004001e00409c0000409c00001c000000010002000000000000000000000000"
    "00000000000000000000000000ca90d657000000000700000010000000170000001c000000486172626f7572537461"
    "74696f6e2031507573682d75705371756174010000010000000010270000000000000000000000000200ffffffff00"
    "000000000000000000000003020101102700003075000001000100010001000a000200ffffffff0700080000000000"
    "040000000215acb6"
)
TIMELINE_2 = bytes.fromhex(
    "4842544c02280000020000000100000004001e00409c0000409c00001c000000010002000000000000000000000000"
    "00010000000000000000000000dce8ccea000000000700000010000000170000001c000000486172626f7572537461"
    "74696f6e2031507573682d75705371756174010000010000000010270000000000000000000000000200ffffffff00"
    "000000000000000000000003020101102700003075000001000100010001000a000200ffffffff0700080000000000"
    "04010000010101010000030000000000a526a85d"
)
JOURNAL_1 = bytes.fromhex(
    "01010100000000006972a9247eb453aa5fcb65a3f7c74b4f0200000000000000e66164084b0000a1a00f0300856197"
    "c4050000000000000003010000008c2b8d9b010000604b67920600010039300000070082000100000000000000786a"
    "a2de060001002134000007008200020000000000000029a9654f09000100409c000007000200ffffffffffff01000b"
    "ea63ea09010100409c000008000000ffffffffffff01001f25e04b0d000000409c0000000000000000000002000000"
    "4165e372"
)
NOW_US = 1_767_700_000_000_000
BOX = "e66164084b0000a1"

no_pause_at_closing = pytest.fixture(autouse=True)(no_pause_at_closing)


@pytest.fixture
def box():
    with LyingBox() as made:
        yield made


@pytest.fixture
def store(tmp_path):
    with open_store(str(tmp_path / "store.sqlite")) as opened:
        yield opened


def of_version(data: bytes, version: int) -> bytes:
    """The same timeline, as a later firmware might write it."""
    head = data[:4] + bytes([version]) + data[5 : timeline.HEADER_SIZE - 4]
    return head + struct.pack("<I", binascii.crc32(head)) + data[timeline.HEADER_SIZE :]


def run_of(plan: bytes, version: int = 1, more: bytes = b"") -> bytes:
    """A log of a plan in a version of the format, with records ``more`` before its end."""
    first = journal.record(journal.RUN, version, 1, 0, bytes.fromhex(digest(plan)))
    return first + JOURNAL_1[24:-24] + more + JOURNAL_1[-24:]


# Files


@pytest.mark.parametrize(
    "plan", [TIMELINE_1, TIMELINE_2, of_version(TIMELINE_1, 0x11), of_version(TIMELINE_2, 0xF2)]
)
@pytest.mark.parametrize("version", [1, 0x11, 0xF1, 2, 0x12])
def test_old_logs_and_plans_and_those_newer_by_a_minor_are_read(plan, version, store):
    unknown = journal.record(99, 0, 1, 20_000, b"of later")
    log = JOURNAL_1 if plan == TIMELINE_1 and version == 1 else run_of(plan, version, unknown)
    store.put_timeline(plan)
    run = ingest_run(store, log, BOX, NOW_US)
    assert run.new and run.mismatches == []


@pytest.mark.parametrize("version", [0, 3, 0x10, 0x13])
def test_a_plan_of_another_major_is_refused_in_words(version, store):
    with pytest.raises(StoreError, match=rf"timeline version {version & 15}\.{version >> 4}"):
        store.put_timeline(of_version(TIMELINE_2, version))


@pytest.mark.parametrize("version", [0, 3, 0x13])
def test_a_log_of_another_major_is_kept_unread(version, store):
    store.put_timeline(TIMELINE_1)
    log = run_of(TIMELINE_1, version)
    with pytest.raises(UnreadJournalError) as caught:
        ingest_run(store, log, BOX, NOW_US)
    assert f"version {version & 15}.{version >> 4}" in str(caught.value.__cause__)
    assert [one.journal for one in unread(store)] == [log]


def test_the_present_firmware_writes_what_it_always_wrote():
    for data in (TIMELINE_1, TIMELINE_2):
        assert head_bytes(timeline.verify(io.BytesIO(data))) == data[: timeline.HEADER_SIZE]
    assert journal.run_record(bytes.fromhex(digest(TIMELINE_1)), 1) == JOURNAL_1[:24]


# Boxes


def put(box, **files):
    for of, all_of in files.items():
        box.files[of].update(all_of)


def collected(box, store):
    with Fleet([box.url]) as fleet:
        (outcome,) = collect(fleet, store)
    assert outcome.error is None, outcome.error
    return outcome.value


@pytest.mark.parametrize("versions", [{"tl": 1}, {"jn": 0x11}, {"ln": 0x11, "tl": 0x12}])
def test_an_older_box_and_one_newer_by_a_minor_work_as_ever(box, store, versions):
    box.hello |= versions | {"of later": [1]}
    box.lies["status"] = lambda _, honest: honest | {"of later": {"a": 1}}
    put(box, timelines={digest(TIMELINE_1): TIMELINE_1}, runs={"00001.hbj": JOURNAL_1})
    assert main(["boxes", "--port", box.url]) == 0
    got = collected(box, store)
    assert (got.new, got.kept, got.unread) == (1, [], {})
    assert box.files["runs"] == {}


def test_a_plan_that_an_older_box_can_not_play_is_refused_before_anything_is_sent(box):
    box.hello |= {"tl": 1, "label": "Door"}
    newer, older = (Load(1, "Door", digest(d), d, 2) for d in (TIMELINE_2, TIMELINE_1))
    with Fleet([box.url]) as fleet:
        (outcome,) = send(fleet, [newer], StationMap())
        assert str(outcome.error) == (
            "Door: plays plans of version 1.0, and this one needs 2.0. "
            "Run handbell prepare to renew its firmware."
        )
        assert [message["do"] for message in box.asked] == ["hello"]
        (outcome,) = send(fleet, [older], StationMap())
        assert outcome.error is None or outcome.error.code != faults.VERSION


ODD_STATUS = ({}, {"state": 5, "runs": "x"}, {"state": {}, "sel": None, "runs": 2, "fault": -1})


@pytest.mark.parametrize("status", ODD_STATUS)
def test_the_logs_of_a_box_with_another_link_come_home_as_they_are(box, store, status, capsys):
    box.hello = {"id": BOX, "ln": 3, "tl": 9, "jn": 9, "fw": "9", "label": "Door", "odd": [1]}
    box.lies["status"] = lambda *_: dict(status)
    logs = {"00001.hbj": b"a log of another kind" * 9, "00002.hbj": run_of(TIMELINE_1, 9)}
    put(box, timelines={"0" * 24: b"a plan of another kind"}, runs=dict(logs))
    assert main(["boxes", "--port", box.url]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "Door: speaks another version of the link, 3.0 and here it is 1.0" in said
    assert "handbell prepare" in said and "Traceback" not in said
    if status.get("runs") == 2:
        assert "Bring its 2 logs home with handbell collect first" in said
    got = collected(box, store)
    assert len(got.unread) == 2 and got.kept == got.broken == []
    assert box.files["runs"] == {}
    assert sorted(one.journal for one in unread(store)) == sorted(logs.values())
    asked = {message["do"] for message in box.asked}
    assert asked <= {"hello", "status", "erred", "list", "get", "drop", "yield"}


def test_the_logs_of_a_box_with_another_link_are_read_if_they_can_be(box, store):
    box.hello = {"id": BOX, "ln": 2, "tl": 2, "jn": 1}
    put(box, timelines={digest(TIMELINE_2): TIMELINE_2}, runs={"00001.hbj": run_of(TIMELINE_2)})
    got = collected(box, store)
    assert (got.new, got.unread) == (1, {})


def test_nothing_else_is_asked_of_a_box_with_another_link(box):
    box.hello |= {"ln": 2}
    with Connection(box.url) as connection:
        connection.hello()
        for do in ("time", "clock", "name", "ring", "put", "keep", "select", "arm", "test"):
            with pytest.raises(BoxError, match="speaks another version") as caught:
                connection.request(do)
            assert caught.value.code == faults.VERSION
    assert {message["do"] for message in box.asked} == {"hello"}


def test_no_plan_is_sent_to_a_box_with_another_link(box):
    box.hello |= {"ln": 2, "buttons": 0}
    with Fleet([box.url]) as fleet:
        load = Load(1, "Door", digest(TIMELINE_1), TIMELINE_1, 2)
        (outcome,) = send(fleet, [load], StationMap())
    assert "speaks another version" in str(outcome.error)


@pytest.mark.parametrize("ln", [None, "1", 1.0, True, -15, 257, 0, [1], 2, 0x12])
def test_garbage_for_a_version_is_another_link(box, ln):
    box.hello |= {"ln": ln}
    with Fleet([box.url]) as fleet:
        (connection,) = fleet.connections
        assert not connection.ours


@pytest.mark.parametrize("box_id", [None, "", 7, "../../x", "E" * 16])
def test_a_box_without_an_id_is_none_of_ours_whatever_its_version(box, box_id):
    box.hello |= {"id": box_id, "ln": 2}
    with Fleet([box.url]) as fleet:
        assert fleet.connections == []
        assert "answered what no box of ours would" in str(fleet.strangers[0].error)
