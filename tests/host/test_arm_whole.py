"""A class starts whole or not at all: every station of what was sent is asked for by name."""

import json
import time
from datetime import datetime

import pytest
from class_floor import Floor
from lying_box import no_pause_at_closing

from handbell.boxes.classes.starts import Starts
from handbell_core import faults

no_pause_at_closing = pytest.fixture(autouse=True)(no_pause_at_closing)


@pytest.fixture
def floor(tmp_path, capsys):
    made = Floor(tmp_path, capsys)
    yield made
    for box in made.boxes:
        box.__exit__()


def test_the_box_whose_sending_failed_is_named_and_nothing_starts(floor):
    floor.boxes[1].lies["put"] = lambda *_: {"no": faults.FLASH_ERROR}
    code, said = floor.send()
    assert code == 1 and "can't read or write its flash" in said
    del floor.boxes[1].lies["put"]
    code, said = floor.do("arm", "--in", "1m")
    assert code == 1 and floor.armed() == []
    assert "Nothing was started: Station 2 holds another plan, so run handbell send again" in said
    assert "--without 2" in said and "starts at" not in said
    code, said = floor.do("arm", "--in", "1m", "--without", "2")
    assert code == 0 and floor.armed() == [1, 3]


def test_a_failure_on_the_last_step_of_sending_counts_too(floor):
    """The timeline is there and the clock could not be set: the next arm may set it."""
    floor.boxes[2].lies["clock"] = lambda *_: {"no": faults.FLASH_ERROR}
    assert floor.send()[0] == 1
    code, said = floor.do("arm", "--in", "1m")
    assert code == 1 and floor.armed() == [] and "--without 3" in said
    del floor.boxes[2].lies["clock"]
    assert floor.do("arm", "--in", "1m")[0] == 0 and floor.armed() == [1, 2, 3]


def test_every_box_that_is_missing_or_holds_another_plan_is_named(floor):
    assert floor.send()[0] == 0
    floor.boxes[0].selected = "0" * 24
    floor.plugged = floor.boxes[:2]
    code, said = floor.do("arm", "--in", "1m")
    assert code == 1 and floor.armed() == []
    assert "Station 1 holds another plan" in said and "Station 3 is not plugged in" in said
    assert "go on without: --without 1 --without 3" in said


def test_a_station_left_out_when_sending_may_be_left_out_again(floor):
    floor.plugged = floor.boxes[:2]
    assert floor.send("--without", "3")[0] == 0
    assert floor.do("arm", "--in", "1m", "--without", "3")[0] == 0 and floor.armed() == [1, 2]
    code, said = floor.do("arm", "--in", "1m", "--without", "4")
    assert code == 2 and "Station 4 is not in Evening" in said


def test_taking_a_start_back_names_the_box_on_the_wall(floor):
    assert floor.send()[0] == 0 and floor.do("arm", "--in", "5m")[0] == 0
    floor.plugged = floor.boxes[:2]
    code, said = floor.do("arm", "--cancel")
    assert code == 1 and floor.armed() == [3]
    assert "2 boxes will not start by themselves. Station 3 may still start at" in said
    floor.plugged = floor.boxes[2:]
    code, said = floor.do("arm", "--cancel")
    assert code == 0 and said == "1 box will not start by itself."


def test_sending_says_that_it_took_the_start_back_and_where_it_still_stands(floor):
    assert floor.send()[0] == 0 and floor.do("arm", "--in", "5m")[0] == 0
    floor.plugged = floor.boxes[:2]
    code, said = floor.send("--without", "3", title="Later")
    assert code == 0
    assert "the start that was set is taken back on Station 1 and Station 2" in said
    assert "Station 3 may still start at" in said
    code, said = floor.do("arm", "--in", "2m", "--without", "3")
    assert code == 0 and "Station 3 may still start at" in said
    floor.plugged = floor.boxes
    assert floor.do("arm", "--cancel")[0] == 0
    assert "may still start" not in floor.send()[1]


def test_an_arm_that_is_refused_says_what_the_box_on_the_wall_will_do(floor):
    assert floor.send()[0] == 0 and floor.do("arm", "--in", "9m")[0] == 0
    floor.plugged = floor.boxes[:2]
    code, said = floor.do("arm", "--in", "5m")
    assert code == 1 and "Station 3 is not plugged in" in said
    assert said.count("Station 3 may still start at") == 1
    assert "an earlier start still stands on Station 1, Station 2" in said


def test_sending_says_that_it_ends_a_start_that_another_computer_set(floor):
    assert floor.send()[0] == 0 and floor.do("arm", "--in", "5m")[0] == 0
    (floor.folder / "data" / "starts.json").unlink()
    code, said = floor.send()
    assert code == 0 and "had it already" in said
    assert "the start that was set is taken back on Station 1, Station 2 and Station 3" in said
    assert "taken back" not in floor.send()[1]


def test_arm_says_how_often_boxes_part_at_a_gate_and_only_there(floor):
    assert floor.send(gate=True)[0] == 0
    code, said = floor.do("arm", "--in", "1m")
    assert code == 0 and "at a gate, 5 s a box: 3 boxes take 10 s to press" in said
    assert floor.send(title="Plain")[0] == 0
    assert "a box:" not in floor.do("arm", "--in", "1m")[1]


def test_starts_that_cant_be_kept_stop_no_class(floor, monkeypatch):
    assert floor.send()[0] == 0
    starts = floor.folder / "data" / "starts.json"
    starts.mkdir()
    code, said = floor.do("arm", "--in", "1m")
    assert code == 0 and floor.armed() == [1, 2, 3]
    assert "starts at" in said and "starts.json is a folder" in said


def _starts(floor) -> dict[str, list[int]]:
    """By the end of a box's id, its station and the instants at which it may start."""
    path = floor.folder / "data" / "starts.json"
    stored = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    return {box[-2:]: said for box, said in stored.items()}


def test_a_box_left_with_a_start_by_an_arm_that_failed_is_not_forgotten(floor):
    assert floor.send()[0] == 0
    floor.boxes[2].lies["arm"] = lambda *_: {"no": faults.TOO_LATE}
    floor.boxes[1].lies["disarm"] = lambda *_: {"no": faults.FLASH_ERROR}
    code, said = floor.do("arm", "--in", "5m")
    assert code == 1 and "But Station 2 may still start by itself" in said
    assert list(_starts(floor)) == ["a2"]
    floor.plugged = [floor.boxes[0], floor.boxes[2]]
    code, said = floor.do("arm", "--cancel")
    assert code == 1
    assert "2 boxes will not start by themselves. Station 2 may still start at" in said


def test_whenever_arm_dies_each_box_that_may_have_a_start_is_written_down(floor):
    """What the file says while a box is asked is what a program that was killed then leaves."""
    assert floor.send()[0] == 0 and floor.do("arm", "--in", "9m")[0] == 0
    first = {box: said[1] for box, said in _starts(floor).items()}
    assert len(first) == 3
    left = []

    def seen(message, honest):
        left.append((message["do"], _starts(floor)))
        refused = message["do"] == "arm" and len(left) > 3
        return {"no": faults.TOO_LATE} if refused else honest

    for box in floor.boxes:
        box.lies |= {"arm": seen, "disarm": seen}
    floor.do("arm", "--in", "5m")
    floor.do("arm", "--in", "5m")
    assert [do for do, _ in left] == ["arm"] * 6 + ["disarm"] * 3
    for _, said in left[:3]:
        later = {m["utc_ms"] for m in floor.boxes[0].asked if m["do"] == "arm"} - {first["a1"]}
        assert {b: at[0] for b, at in said.items()} == {"a1": 1, "a2": 2, "a3": 3}
        assert all({first[b]} < set(at[1:]) <= {first[b]} | later for b, at in said.items())
    assert all(set(said) == {"a1", "a2", "a3"} for _, said in left)
    assert _starts(floor) == {}, "each box answered that it has none"


def test_an_arm_that_fails_says_that_it_took_an_earlier_start_back(floor):
    assert floor.send()[0] == 0 and floor.do("arm", "--in", "5m")[0] == 0
    at_ms = next(m["utc_ms"] for m in floor.boxes[0].asked if m["do"] == "arm")
    assert {box.start_utc_ms for box in floor.boxes} == {at_ms}
    floor.boxes[2].lies["arm"] = lambda *_: {"no": faults.TOO_LATE}
    code, said = floor.do("arm", "--in", "9m")
    assert code == 1 and _starts(floor) == {} and floor.armed() == []
    assert "Nothing was started, and the start that was set before is taken back: Station 3" in said
    floor.plugged = floor.boxes[:2]
    code, said = floor.do("arm", "--cancel")
    assert code == 0 and "may still start" not in said


def test_a_start_that_only_the_box_knew_of_is_written_down_before_it_is_changed(floor):
    """Another computer set it, or a hand: killed now, the box may start at either."""
    assert floor.send()[0] == 0
    now_ms = time.time_ns() // 1_000_000
    box, left = floor.boxes[0], []
    box.start_utc_ms = now_ms + 900_000
    box.lies["arm"] = lambda _, honest: left.append(_starts(floor)["a1"]) or honest
    assert floor.do("arm", "--in", "5m")[0] == 0
    assert left[0][0] == 1 and now_ms + 900_000 in left[0][1:] and len(left[0]) == 3
    assert len(_starts(floor)["a1"]) == 2


def test_a_box_that_may_start_at_two_times_is_said_with_both():
    now_ms = 1_795_900_000_000
    starts = Starts(now_ms)
    starts.expect("aa", 2, now_ms + 60_000)
    starts.expect("aa", 2, now_ms + 5 * 3_600_000)
    starts.expect("bb", 3, now_ms + 60_000)
    starts.save()
    said = Starts(now_ms).words()
    assert "Station 2 may still start at" in said and " or " in said.split(": plug")[0]
    assert "Station 3 may still start at" in said
    assert "Station 3" not in Starts(now_ms + 61_000).words()
    assert " or " not in Starts(now_ms + 61_000).words().split(": plug")[0]


def test_starts_of_an_older_program_still_count(tmp_path):
    path = tmp_path / "data" / "starts.json"
    path.parent.mkdir()
    path.write_text(json.dumps({"aa": [3, 2_000_000]}), encoding="utf-8")
    assert Starts(1_000_000).words().startswith("Station 3 may still start at")
    assert not Starts(2_000_000).words()


def test_with_no_box_that_answers_only_starts_still_ahead_are_said(floor):
    now_ms = time.time_ns() // 1_000_000
    path = floor.folder / "data" / "starts.json"
    day_ms = 86_400_000
    stored = {"aa": [3, now_ms - 40 * day_ms], "bb": [4, now_ms + day_ms]}
    path.write_text(json.dumps(stored), encoding="utf-8")
    floor.plugged = []
    code, said = floor.do("arm", "--cancel", "--port", "socket://127.0.0.1:9")
    assert code == 1 and "Station 3" not in said and "will not start" not in said
    assert said.count("socket://127.0.0.1:9:") == 1
    at = datetime.fromtimestamp((now_ms + day_ms) / 1000)
    assert f"Station 4 may still start at {at:%H:%M:%S} on {at:%A %d %B}" in said
    del stored["bb"]
    path.write_text(json.dumps(stored), encoding="utf-8")
    assert "may still start" not in floor.do("arm", "--cancel", "--port", "socket://127.0.0.1:9")[1]


def test_the_day_of_a_start_is_said_only_when_it_is_another(tmp_path):
    noon = datetime(2026, 11, 28, 12)
    starts = Starts(int(noon.timestamp() * 1000))
    starts.expect("aa", 2, int(noon.replace(hour=13).timestamp() * 1000))
    assert "may still start at 13:00:00: plug in" in starts.words()
    starts.expect("bb", 3, int(noon.replace(day=29, hour=7).timestamp() * 1000))
    assert "Station 3 may still start at 07:00:00 on Sunday 29 November: plug in" in starts.words()


def test_a_box_that_goes_while_it_is_looked_at_is_named_once(floor):
    assert floor.send()[0] == 0
    floor.boxes[2].lies["status"] = lambda *_: {"no": faults.FLASH_ERROR}
    code, said = floor.do("arm", "--in", "5m")
    assert code == 1 and "Nothing was started: Station 3 can't read or write its flash. Try" in said
    assert "Station 3: not ready: can't read or write its flash" in said
    assert "Station 3 Station 3" not in said and "--without 3" in said


@pytest.mark.parametrize("do", ["send", "collect"])
def test_a_box_about_to_start_is_said_to_be_freed_by_taking_the_start_back(floor, do):
    """A start by hand, or one less than a minute away, makes it busy just as a class does."""
    assert floor.send()[0] == 0
    floor.boxes[0].lies |= dict.fromkeys(("put", "list"), lambda *_: {"no": faults.BUSY})
    code, said = floor.send() if do == "send" else floor.do("collect")
    assert code == 1 and "Station 1: is in a class or about to start one" in said
    assert "handbell arm --cancel takes a start back" in said


def test_taking_a_start_back_in_a_class_says_that_the_class_goes_on(floor):
    assert floor.send()[0] == 0
    floor.boxes[0].lies["disarm"] = lambda *_: {"no": faults.BUSY}
    code, said = floor.do("arm", "--cancel")
    assert code == 1 and "Station 1: is in a class, which goes on" in said
    assert "takes a start back" not in said


@pytest.mark.parametrize("words", [["stations", "--number"], ["identify"], ["stations", "2=a2"]])
def test_a_box_that_is_left_out_is_named_by_every_command_about_boxes(floor, words):
    floor.boxes[2].hello["id"] = floor.boxes[1].hello["id"]
    code, said = floor.do(*words, "--port", "socket://127.0.0.1:9")
    assert code == 1
    assert "this box has the same id as" in said and "is left out" in said
    assert "socket://127.0.0.1:9: there is no such port" in said


def test_to_ring_one_box_by_name_is_well_done_whoever_else_is_silent(floor):
    code, said = floor.do("identify", "1", "--port", "socket://127.0.0.1:9")
    assert code == 0 and "Ringing: " in said and "socket://127.0.0.1:9" in said


def test_a_folder_that_cant_be_written_hides_nothing_of_what_was_sent(floor):
    path = floor.folder / "data" / "class.json"
    path.mkdir()
    code, said = floor.send()
    assert code == 1 and "station 1, Box 1:" in said and "station 3, Box 3:" in said
    assert "class.json is a folder" in said and "Free the folder" in said
    assert "Start the class" not in said, "arm would go by what was sent before"
    assert all(box.selected for box in floor.boxes)
    path.rmdir()
    code, said = floor.send()
    assert code == 0 and "had it already" in said and floor.do("arm", "--in", "2m")[0] == 0
