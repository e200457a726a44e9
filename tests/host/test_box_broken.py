"""Boxes with a bad place in their flash: what is sound comes home, what is broken is renewed."""

import binascii
import sqlite3

import classes
import pytest
from lying_box import LyingBox, digest, no_pause_at_closing

from handbell.base.errors import BoxError
from handbell.boxes.classes.send import Load, put
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.words import fault_words
from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.logs import salvage
from handbell.store.logs.damaged import DOUBTED
from handbell_core import faults, journal

no_pause_at_closing = pytest.fixture(autouse=True)(no_pause_at_closing)


@pytest.fixture
def box():
    """A box with the logs of three evenings and the timeline they played."""
    with LyingBox() as made:
        for n in range(3):
            start_ms = classes.START_UTC_MS + n * 86_400_000
            ((_, data, run),) = classes.make_class(boxes=1, seed=n, start_utc_ms=start_ms)
            made.files["runs"][f"{n + 1:05}.hbj"] = run.journal
            made.files["timelines"][digest(data)] = data
        yield made


def collected(box, tmp_path, capsys, *words: str) -> tuple[int, str, int]:
    """Collect; return the exit code, what was said, and the runs in the store."""
    store = tmp_path / "store.sqlite"
    code = main(["collect", *words, "--store", str(store), "--port", box.url])
    out, err = capsys.readouterr()
    (runs,) = sqlite3.connect(store).execute("select count(*) from runs").fetchone()
    return code, " ".join((out + err).split()), runs


@pytest.mark.parametrize("lists_dead", [True, False], ids=["this firmware", "an older one"])
@pytest.mark.parametrize("dead", ["00001.hbj", "00002.hbj", "00003.hbj"])
def test_one_log_that_cant_be_read_hides_no_other(box, tmp_path, capsys, dead, lists_dead):
    box.dead, box.lists_dead = {dead}, lists_dead
    code, said, runs = collected(box, tmp_path, capsys)
    assert code == 1 and runs == 2
    place = dead if lists_dead else f"number {int(dead[:5])} of 3"
    assert f"can't be read: log {place}. All others are safe." in said
    assert set(box.files["runs"]) == {dead}
    assert "replace" not in said and "erase" not in said
    box.dead = set()  # it can be read after all
    assert collected(box, tmp_path, capsys)[::2] == (0, 3)


def test_a_log_that_breaks_off_on_the_way_hides_no_other(box, tmp_path, capsys):
    def cut(message, honest):
        bad = message["of"] == "runs" and message["name"] == "00001.hbj" and message["at"] > 500
        return {"no": faults.FLASH_ERROR} if bad else honest

    box.lies["get"] = cut
    code, said, runs = collected(box, tmp_path, capsys)
    assert code == 1 and runs == 2 and "can't be read: log 00001.hbj" in said


def test_a_dead_timeline_keeps_its_logs_on_the_box_and_the_plan_frees_them(box, tmp_path, capsys):
    (name,) = box.files["timelines"]
    box.dead = {name}
    code, said, runs = collected(box, tmp_path, capsys)
    assert code == 1 and runs == 0 and len(box.files["runs"]) == 3
    assert "left on the box" in said and "send the plan once more" in said
    assert "replace" not in said
    with open_store(str(tmp_path / "store.sqlite")) as store:
        store.put_timeline(box.files["timelines"][name])
    assert collected(box, tmp_path, capsys)[::2] == (0, 3)


def test_while_sound_logs_are_left_nothing_is_said_to_be_lost(box, tmp_path, capsys):
    (name,) = box.files["timelines"]
    box.dead = {name, "00002.hbj"}
    code, said, _ = collected(box, tmp_path, capsys)
    assert code == 1 and "Bring the others home first" in said and "lost" not in said
    assert "bring its logs home" in str(_flash_error())


def _flash_error() -> BoxError:
    from handbell.boxes.link.words import fault_error

    assert fault_words(faults.FLASH_ERROR)
    return fault_error("Box 1", faults.FLASH_ERROR)


def _evenings_of_two_plans(box) -> tuple[str, str]:
    """Let the first evening have been of another plan; return its timeline's name and the other."""
    ((name, data),) = box.files["timelines"].items()
    other = classes.timeline(bibs=(1, 2), plan=b"another plan")
    first = bytearray(box.files["runs"]["00001.hbj"])
    kind, slot, window, at, payload = journal.parse_record(bytes(first[: journal.RECORD_SIZE]))
    assert kind == journal.RUN
    played = bytes.fromhex(digest(other)) + payload[12:]
    first[: journal.RECORD_SIZE] = journal.record(kind, slot, window, at, played)
    box.files["runs"]["00001.hbj"] = bytes(first)
    box.files["timelines"] = {name: data, digest(other): other}
    return digest(other), name


def _flipped(box, name) -> bytes:
    sound = box.files["timelines"][name]
    broken = bytearray(sound)
    broken[70] ^= 1
    box.files["timelines"][name] = bytes(broken)
    return sound


@pytest.mark.parametrize("known", [False, True], ids=["an empty store", "a store that knows one"])
def test_a_timeline_with_a_wrong_bit_keeps_only_its_own_logs(box, tmp_path, capsys, known):
    first, second = _evenings_of_two_plans(box)
    sound = _flipped(box, first)
    with open_store(str(tmp_path / "store.sqlite")) as store:
        if known:
            store.put_timeline(box.files["timelines"][second])
    code, said, runs = collected(box, tmp_path, capsys)
    assert code == 1 and runs == 2 and set(box.files["runs"]) == {"00001.hbj"}
    assert "2 new of 2" in said
    assert f"left on the box: Log {digest(box.files['runs']['00001.hbj'])}" in said
    assert f"the store lacks the timeline {first}" in said and "send the plan once more" in said
    with open_store(str(tmp_path / "store.sqlite")) as store:
        store.put_timeline(sound)
    assert collected(box, tmp_path, capsys)[::2] == (0, 3)


@pytest.mark.parametrize("how", ["flipped", "not listed", "not got"])
def test_a_log_that_says_not_what_it_played_comes_home_and_waits_for_the_coachs_word(
    box, tmp_path, capsys, how
):
    """It may be of the timeline that can't be read, though it fits another one as well."""
    store = str(tmp_path / "store.sqlite")
    with open_store(store) as open_one:
        open_one.put_timeline(*box.files["timelines"].values())
    other = _lacking(box, how)
    log = _damage(box)
    code, said, runs = collected(box, tmp_path, capsys)
    assert (code, runs) == (1, 2) and box.files["runs"] == {}  # so the box may go on
    assert "NOT READ: Log " in said and "left on the box" not in said
    assert "does not say which plan it is of, and a plan on that box can't be read" in said
    assert f"handbell unread {digest(log)[:8]} --of CLASS" in said
    assert "send that plan once more first, unchanged" in said
    with open_store(store) as open_one:
        (kept,) = salvage.unread(open_one)
        assert (kept.journal, kept.reason) == (log, DOUBTED)
        open_one.put_timeline(other)  # as after the plan was sent again
    assert main(["unread", "--again", "--store", store]) == 0
    box.lies.clear()
    box.files["runs"]["00001.hbj"] = log  # as a box that was collected with --keep
    code, said, runs = collected(box, tmp_path, capsys)
    assert (code, runs) == (1, 2) and "NOT READ" in said and "--of CLASS" in said
    assert main(["unread", digest(log)[:8], "--plan-of", "1", "--store", store]) == 0
    box.files["runs"]["00001.hbj"] = log
    assert collected(box, tmp_path, capsys)[::2] == (0, 3)
    with open_store(store) as open_one:
        assert salvage.unread(open_one) == []


def test_a_log_that_was_unread_already_waits_for_the_word_once_a_timeline_is_lacking(
    box, tmp_path, capsys
):
    twin = classes.timeline(bibs=(1, 2), plan=b"another plan")
    box.files["timelines"][digest(twin)] = twin
    _damage(box)
    for name in ("00002.hbj", "00003.hbj"):
        del box.files["runs"][name]
    code, said, _ = collected(box, tmp_path, capsys, "--keep")
    assert code == 1 and "handbell unread tries it again" in said
    third = classes.timeline(bibs=(1, 2), plan=b"a third plan")
    box.files["timelines"][digest(third)] = third
    _flipped(box, digest(third))
    code, said, _ = collected(box, tmp_path, capsys)
    assert code == 1 and "--of CLASS" in said and box.files["runs"] == {}
    with open_store(str(tmp_path / "store.sqlite")) as store:
        assert [log.reason for log in salvage.unread(store)] == [DOUBTED]


@pytest.mark.parametrize("how", ["flipped", "not listed", "not got"])
def test_a_log_that_is_in_the_store_is_not_held_up_by_a_lacking_timeline(
    box, tmp_path, capsys, how
):
    log = _damage(box)
    code, _, runs = collected(box, tmp_path, capsys, "--keep")
    assert (code, runs) == (0, 3)
    _lacking(box, how)
    assert collected(box, tmp_path, capsys)[::2] == (0, 3)
    assert box.files["runs"] == {}
    with open_store(str(tmp_path / "store.sqlite")) as store:
        assert salvage.unread(store) == []
    assert log


@pytest.mark.parametrize("lacking", [False, True])
def test_a_log_in_which_nothing_was_written_is_no_alarm(box, tmp_path, capsys, lacking):
    """The power went between its making and its first record."""
    box.files["runs"]["00004.hbj"] = b""
    if lacking:
        _lacking(box, "flipped")
    code, said, runs = collected(box, tmp_path, capsys, "--keep")
    assert (code, runs) == (0, 3) and "NOT READ" not in said
    assert "00004.hbj" in box.files["runs"]
    assert collected(box, tmp_path, capsys)[::2] == (0, 3)
    assert box.files["runs"] == {}
    with open_store(str(tmp_path / "store.sqlite")) as store:
        assert salvage.unread(store) == []


def test_a_log_without_a_sound_record_is_not_said_to_need_a_class(box, tmp_path, capsys):
    """No class could make it readable."""
    _lacking(box, "flipped")
    box.files["runs"] = {"00001.hbj": b"\xff" * 240}
    code, said, _ = collected(box, tmp_path, capsys)
    assert code == 1 and "NOT READ" in said and "--of CLASS" not in said
    assert box.files["runs"] == {}


def _lacking(box, how) -> bytes:
    """Put a timeline of another plan on the box that can't be read; return it as it was."""
    other = classes.timeline(bibs=(1, 2), plan=b"another plan")
    box.files["timelines"][digest(other)] = other
    dead = {"no": faults.FLASH_ERROR}
    if how == "flipped":
        _flipped(box, digest(other))
    elif how == "not listed":
        box.lies["list"] = lambda m, h: dead if m["of"] == "timelines" else h
    else:
        box.lies["get"] = lambda m, h: dead if m["of"] == "timelines" else h
    return other


def _damage(box) -> bytes:
    """Damage the first record of the box's first log; return the log."""
    log = b"\xff" * 24 + box.files["runs"]["00001.hbj"][24:]
    box.files["runs"]["00001.hbj"] = log
    return log


def test_a_folder_of_timelines_that_cant_be_listed_keeps_no_log_of_a_known_one(
    box, tmp_path, capsys
):
    first, second = _evenings_of_two_plans(box)
    with open_store(str(tmp_path / "store.sqlite")) as store:
        store.put_timeline(box.files["timelines"][second])
    box.lies["list"] = lambda m, h: {"no": faults.FLASH_ERROR} if m["of"] == "timelines" else h
    code, said, runs = collected(box, tmp_path, capsys)
    assert code == 1 and runs == 2 and f"the store lacks the timeline {first}" in said


def test_a_timeline_that_is_no_timeline_keeps_no_log_of_another(box, tmp_path, capsys):
    """Its bytes are what its name says, and still nothing that the store can read."""
    first, _ = _evenings_of_two_plans(box)
    del box.files["timelines"][first]
    junk = b"no timeline at all" * 10
    box.files["timelines"][digest(junk)] = junk
    log = box.files["runs"]["00001.hbj"]
    kind, slot, window, at, payload = journal.parse_record(log[: journal.RECORD_SIZE])
    played = bytes.fromhex(digest(junk)) + payload[12:]
    box.files["runs"]["00001.hbj"] = journal.record(kind, slot, window, at, played) + log[24:]
    code, said, runs = collected(box, tmp_path, capsys)
    assert code == 1 and runs == 2 and set(box.files["runs"]) == {"00001.hbj"}
    assert "left on the box: Log" in said and "its bytes are not sound" in said


def test_a_folder_that_is_dead_as_a_whole_is_an_error_and_ends(box, tmp_path, capsys):
    box.lies["list"] = lambda *_: {"no": faults.FLASH_ERROR}
    code, said, runs = collected(box, tmp_path, capsys)
    assert code == 1 and runs == 0 and "can't read or write its flash" in said
    assert len(box.asked) < 200


def test_a_disk_of_this_computer_that_fails_ends_one_box_only(tmp_path, capsys, monkeypatch):
    """The folder for half-done logs can't be made; a box whose log comes whole needs none."""
    ((_, data, run),) = classes.make_class(boxes=1)
    monkeypatch.setenv("HANDBELL_DATA", str(tmp_path / "a file"))
    (tmp_path / "a file").write_text("", encoding="utf-8")
    with LyingBox() as cut, LyingBox("e66164084b0000a2", station=2) as sound:
        for box in (cut, sound):
            box.files = {"runs": {"00001.hbj": run.journal}, "timelines": {digest(data): data}}
        cut.lies["get"] = lambda m, honest: {"no": faults.BUSY} if m["at"] else honest
        store = tmp_path / "store.sqlite"
        words = ["--store", str(store), "--port", cut.url, "--port", sound.url]
        assert main(["collect", *words]) == 1
        out = capsys.readouterr().out
    assert "is in a class" in out and "1 new of 1" in out


def test_an_error_of_this_computer_in_one_box_s_thread_is_that_box_s(box, monkeypatch):
    from handbell.boxes.link.fleet import Fleet

    def full(connection):
        raise OSError(28, "No space left on device", "/data/x")

    with Fleet([box.url]) as fleet:
        (outcome,) = fleet.each(full)
    assert "/data/x can't be read or written (No space left on device)" in str(outcome.error)


@pytest.fixture
def load(box):
    ((name, data),) = box.files["timelines"].items()
    return Load(1, "One", name, data)


def sent(box, load) -> bool:
    with Connection(box.url) as connection:
        connection.hello()
        return put(connection, load)


def test_a_copy_with_a_wrong_bit_is_dropped_and_sent_again(box, load):
    broken = bytearray(load.data)
    broken[200] ^= 4
    box.files["timelines"][load.digest] = bytes(broken)
    assert sent(box, load) is False, "it was not there, whatever the box says"
    assert box.files["timelines"][load.digest] == load.data and box.selected == load.digest
    assert sent(box, load) is True
    assert len([m for m in box.asked if m["do"] == "drop"]) == 1


@pytest.mark.parametrize("code", [faults.NOT_FOUND, faults.TIMELINE_BROKEN, faults.FLASH_ERROR])
@pytest.mark.parametrize("drops", ["really", "only in words", "never"])
def test_it_is_tried_once_and_then_said_plainly(box, load, code, drops):
    box.lies["select"] = lambda *_: {"no": code}
    box.lies["keep"] = lambda *_: {"no": faults.NOT_WHOLE}
    if drops == "only in words":
        box._drop = lambda _: {"gone": True}
    elif drops == "never":
        box.dead = {load.digest}  # no digest is told, so it can't be dropped
    with pytest.raises(BoxError) as raised:
        sent(box, load)
    asked = [m["do"] for m in box.asked]
    assert asked.count("drop") == (0 if drops == "never" else 1) and len(asked) < 100
    if drops != "really":
        assert "its copy of this plan is broken and can't be renewed" in str(raised.value)
        assert "Renew its firmware" in str(raised.value)


@pytest.mark.parametrize("kept", [True, False])
def test_a_flash_that_fails_once_as_a_plan_is_kept_is_asked_once_more(box, load, kept):
    """Whether the box has the plan by then or not."""
    box.files["timelines"] = {}
    dead = [{"no": faults.FLASH_ERROR}]

    def keep(message, honest):
        if dead and not kept:
            box.files["timelines"] = {}
        return dead.pop() if dead else honest

    box.lies["keep"] = keep
    assert sent(box, load) is False, "it was not there before"
    assert box.files["timelines"][load.digest] == load.data and box.selected == load.digest


def test_a_flash_that_fails_for_good_as_a_plan_is_kept_is_told(box, load):
    box.files["timelines"] = {}
    box.lies["keep"] = lambda *_: box.files.update(timelines={}) or {"no": faults.FLASH_ERROR}
    with pytest.raises(BoxError, match="can't read or write its flash"):
        sent(box, load)
    assert [m["do"] for m in box.asked].count("keep") == 2


def test_a_box_in_class_keeps_what_it_has(box, load):
    box.lies["select"] = lambda *_: {"no": faults.BUSY}
    with pytest.raises(BoxError, match="is in a class"):
        sent(box, load)
    assert not [m for m in box.asked if m["do"] == "drop"]


def test_a_box_that_gives_a_file_in_drops_is_not_waited_for(box, tmp_path, capsys):
    """One byte an answer is sound by every check, and would take hours."""

    def drip(message, honest):
        if message["name"] != "00002.hbj":
            return honest
        return {"b": binascii.b2a_base64(binascii.a2b_base64(honest["b"])[:1]).decode().rstrip()}

    box.lies["get"] = drip
    code, said, runs = collected(box, tmp_path, capsys)
    assert code == 1 and runs == 2 and "can't be read: log 00002.hbj" in said
    assert len([m for m in box.asked if m.get("name") == "00002.hbj"]) < 10


def test_a_box_that_takes_a_file_in_drops_is_not_waited_for(box, load):
    box.files["timelines"] = {}
    box.lies["put"] = lambda m, honest: {"at": m["at"] + 1 if m["b"] else 0}
    with pytest.raises(BoxError, match="answered what no box of ours would"):
        sent(box, load)
    assert len([m for m in box.asked if m["do"] == "put"]) == 2


def test_what_came_before_a_box_was_pulled_is_told_and_what_it_says_is_not_lost(
    box, tmp_path, capsys
):
    """The first log can't be read and is erased on the box: nobody would hear of it again."""
    box.files["runs"]["00001.hbj"] = b"\xff" * 240
    pulled = {"no": faults.BUSY}
    box.lies["get"] = lambda m, h: pulled if m.get("name") == "00003.hbj" else h
    code, said, runs = collected(box, tmp_path, capsys)
    assert (code, runs) == (1, 1) and set(box.files["runs"]) == {"00003.hbj"}
    assert "Box 1: 1 new of 1" in said and "NOT READ: Log" in said
    assert said.count(fault_words(faults.BUSY)) == 1 and "Now: handbell report" in said
    box.lies.clear()
    code, said, runs = collected(box, tmp_path, capsys)
    assert (code, runs) == (0, 2) and "NOT READ" not in said


def test_a_box_that_is_pulled_before_its_first_log_says_only_that(box, tmp_path, capsys):
    box.lies["get"] = lambda m, h: {"no": faults.BUSY}
    code, said, runs = collected(box, tmp_path, capsys)
    assert (code, runs) == (1, 0) and " new of " not in said
