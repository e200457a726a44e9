"""A remote leads a class: its part is sent, a key goes to it and to every box that hears it."""

import json
import stat

import pytest
from class_floor import Floor
from lying_box import LyingBox, no_pause_at_closing

from handbell_core import faults

no_pause_at_closing = pytest.fixture(autouse=True)(no_pause_at_closing)
ID = "e66164084b0000b7"
CALL = "This is no emergency stop: call out first."


@pytest.fixture
def floor(tmp_path, capsys):
    made = Floor(tmp_path, capsys)
    made.remote = LyingBox(ID, station=0)
    made.remote.hello |= {"remote": 1, "buttons": 4, "label": "Remote"}
    for box in made.boxes:
        box.hello["hears"] = 1
        box.lies["status"] = awaits(box)
    made.remote.lies["status"] = awaits(made.remote)
    made.plugged = [*made.boxes, made.remote]
    yield made
    for box in (*made.boxes, made.remote):
        box.__exit__()


def awaits(box):
    """A box whose start is the remote's word has no time."""

    def status(_, honest):
        if honest.get("utc_ms") == 0:
            del honest["utc_ms"]
            honest["state"] = "awaits"
        return honest

    return status


def keys(floor):
    """The key that each box and the remote were armed with last, None without one."""
    last = []
    for box in (*floor.boxes, floor.remote):
        armed = [m for m in box.asked if m["do"] in ("arm", "disarm")][-1:]
        last += [armed[0].get("key") if armed and armed[0]["do"] == "arm" else None]
    return last


def kept_key(floor):
    return json.loads((floor.folder / "data" / "class.json").read_text(encoding="utf-8"))["key"]


def test_sending_gives_each_remote_its_part_and_says_when_there_is_none(floor):
    code, said = floor.send()
    assert code == 0 and "Remote: " in said and "station 0" not in said
    (name,) = floor.remote.files["timelines"]
    data = floor.remote.files["timelines"][name]
    assert b"Remote" in data and floor.remote.selected == name
    assert data[36:48] == next(iter(floor.boxes[0].files["timelines"].values()))[36:48]
    assert not [m for m in floor.remote.asked if m["do"] == "name"]
    floor.plugged = floor.boxes
    assert "No remote is plugged in." in floor.send()[1]


def test_sending_names_the_remote_that_failed_and_the_boxes_still_start(floor):
    floor.remote.lies["put"] = lambda *_: {"no": faults.FLASH_ERROR}
    code, said = floor.send()
    assert code == 1 and "Remote: can't read or write its flash" in said
    code, said = floor.do("arm", "--in", "1m")
    assert code == 1 and "Nothing was started: Remote holds another plan" in said
    assert "unplug the remote and go on without it" in said and "--without 0" not in said
    floor.plugged = floor.boxes
    assert floor.do("arm", "--in", "1m")[0] == 0 and keys(floor) == [None] * 4


def test_a_remote_with_too_few_buttons_is_refused_in_its_own_words(floor):
    floor.remote.hello["buttons"] = 2
    code, said = floor.send()
    assert code == 1 and "Remote: has 2 buttons, and a remote needs 4" in said


def test_one_new_key_goes_to_all_and_is_kept_for_its_owner_only(floor):
    assert floor.send()[0] == 0
    code, said = floor.do("arm", "--in", "1m")
    assert code == 0 and "Evening starts at" in said
    assert said.count(CALL) == 1 and "press 1 to pause" in said and "station 0" not in said
    (first,) = set(keys(floor))
    assert len(bytes.fromhex(first)) == 8 and kept_key(floor) == first
    path = floor.folder / "data" / "class.json"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert floor.do("arm", "--in", "2m")[0] == 0
    (second,) = set(keys(floor))
    assert first != second == kept_key(floor)
    floor.plugged = floor.boxes
    code, said = floor.do("arm", "--in", "1m")
    assert code == 0 and CALL not in said
    assert kept_key(floor) == "" and keys(floor)[:3] == [None] * 3
    led, alone = [
        [m for m in box.asked if m["do"] == "arm"][-1] for box in (floor.remote, floor.boxes[0])
    ]
    assert led["stations"] == 3 and "stations" not in alone


def test_a_class_begins_on_the_remotes_word(floor):
    assert floor.send()[0] == 0
    code, said = floor.do("arm", "--by-remote")
    assert code == 0 and "Evening starts when the remote's second button is held." in said
    assert [box.asked[-2]["utc_ms"] for box in floor.boxes] == [0, 0, 0]
    starts = json.loads((floor.folder / "data" / "starts.json").read_text(encoding="utf-8"))
    assert [station for station, _ in sorted(starts.values())] == [0, 1, 2, 3]
    assert all(set_at < 0 for _, set_at in starts.values())  # by whom, and since when
    said = floor.do("arm", "--in", "1m")[1]
    assert "may still start" not in said and "The remote still" not in said
    floor.plugged = floor.boxes
    code, said = floor.do("arm", "--by-remote")
    assert code == 1 and "no remote is plugged in" in said


ON_WORD = "Station 3 may still start on the remote's word"


def test_who_waits_for_the_remotes_word_on_the_wall_is_named_and_so_is_the_remote(floor):
    assert floor.send(gate=True)[0] == 0
    code, said = floor.do("arm", "--by-remote")
    assert code == 0 and "at a gate, 5 s a box" not in said  # one hold of the remote passes it
    every, floor.plugged = floor.plugged, floor.boxes[:2]
    code, said = floor.do("arm", "--cancel")
    leads = "The remote still leads what was to start on the remote's word, and no other class"
    assert code == 1 and "2 boxes will not start" in said and ON_WORD in said and leads in said
    code, said = floor.send("--without", "3", title="Other")
    assert code == 0 and ON_WORD in said and leads in said
    code, said = floor.do("arm", "--in", "1m", "--without", "3")
    assert code == 0 and ON_WORD in said and leads in said
    floor.plugged = every
    assert floor.do("arm", "--cancel")[0] == 0
    assert "may still start" not in floor.send()[1]


def test_sending_takes_back_what_waits_for_the_remotes_word_and_says_so(floor):
    assert floor.send()[0] == 0 and floor.do("arm", "--by-remote")[0] == 0
    (floor.folder / "data" / "starts.json").unlink()  # as another computer armed it
    for box in floor.plugged:
        box.lies["status"] = lambda _, honest: honest | {"state": "awaits"}
    code, said = floor.send()
    four = "Station 1, Station 2, Station 3 and Remote"
    assert code == 0 and f"the start that was set is taken back on {four}" in said


def test_a_remote_that_lies_elsewhere_still_holds_the_start_that_was_moved(floor):
    assert floor.send()[0] == 0 and floor.do("arm", "--in", "5m")[0] == 0
    floor.plugged = floor.boxes
    code, said = floor.do("arm", "--cancel")
    assert code == 1 and "may still start" not in said
    assert "The remote still leads what was to start at" in said
    code, said = floor.do("arm", "--in", "9m")
    assert code == 0 and "The remote still leads what was to start at" in said


def test_a_class_that_came_home_waits_for_no_word_any_more(floor):
    assert floor.send()[0] == 0 and floor.do("arm", "--by-remote")[0] == 0
    for box in floor.plugged:
        box.lies["status"] = lambda _, honest: honest | {"state": "over"}
    assert floor.do("collect")[0] == 0
    floor.plugged = floor.boxes[:1]
    said = floor.do("arm", "--cancel")[1]
    assert "may still start" not in said and "The remote still" not in said


def test_a_box_that_broke_in_a_class_is_not_told_of_for_ever(floor):
    assert floor.send()[0] == 0 and floor.do("arm", "--by-remote")[0] == 0
    floor.plugged = floor.boxes[:2]
    for box in floor.plugged:
        box.lies["status"] = lambda _, honest: honest | {"state": "over"}
    assert floor.do("collect")[0] == 0
    said = floor.do("arm", "--cancel")[1]
    assert ON_WORD in said and "The remote still" not in said  # it has said its word
    path = floor.folder / "data" / "starts.json"
    (box, (station, set_ms)) = json.loads(path.read_text(encoding="utf-8")).popitem()
    path.write_text(json.dumps({box: [station, set_ms + 86_500_000]}), encoding="utf-8")
    assert "may still start" not in floor.do("arm", "--cancel")[1]


def test_a_box_that_cant_hear_gets_no_key_and_is_told(floor):
    del floor.boxes[1].hello["hears"]
    assert floor.send()[0] == 0
    code, said = floor.do("arm", "--in", "1m")
    assert code == 0 and "Station 2 can't hear the remote: it goes by the clock" in said
    key = kept_key(floor)
    assert keys(floor) == [key, None, key, key]
    code, said = floor.do("arm", "--by-remote")
    assert code == 1 and "Station 2 can't hear the remote, so it would not begin" in said
    assert "--without 2" in said and "unplug the remote" not in said


@pytest.mark.parametrize("fitted", [False, True])
def test_a_remote_that_would_not_lead_on_after_a_power_failure_is_told_of(floor, fitted):
    whole = floor.remote.lies["status"]
    floor.remote.lies["status"] = lambda m, honest: whole(m, honest | {"rtc": fitted})
    assert floor.send()[0] == 0
    code, said = floor.do("arm", "--in", "1m")
    told = "Remote has no clock part: if its power fails in class, it leads that class no more"
    assert code == 0 and (told in said) != fitted
    floor.plugged = floor.boxes
    assert "leads that class" not in floor.do("arm", "--in", "1m")[1]


@pytest.mark.parametrize("wrong", [1, 3], ids=["a box", "the remote"])
def test_where_one_fails_nobody_has_a_key(floor, wrong):
    assert floor.send()[0] == 0
    every = [*floor.boxes, floor.remote]
    every[wrong].lies["arm"] = lambda *_: {"no": faults.FLASH_ERROR}
    code, said = floor.do("arm", "--by-remote")
    assert code == 1 and "Nothing was started: " in said and CALL not in said
    assert keys(floor) == [None] * 4 and kept_key(floor) == ""
    every[0].lies["disarm"] = lambda *_: {"no": faults.FLASH_ERROR}
    code, said = floor.do("arm", "--by-remote")
    assert code == 1 and "But Station 1 may still start by itself" in said


def test_two_remotes_lead_no_class(floor):
    assert floor.send()[0] == 0
    with LyingBox("e66164084b0000b8", station=0) as other:
        other.hello |= {"remote": 1, "buttons": 4, "label": "Remote"}
        floor.plugged.append(other)
        code, said = floor.do("arm", "--in", "1m")
    assert code == 1 and "is one of 2 that are plugged in, so unplug all others" in said


def test_a_remote_takes_no_stations_place(floor):
    code, said = floor.do("stations", "3=b7")
    assert code == 1 and f"{ID} is a remote, which hangs at no station" in said
    code, said = floor.do("stations", "--number")
    assert code == 0 and ID not in said
    floor.plugged = [*floor.boxes[:2], floor.remote]
    code, said = floor.send()
    assert code == 1 and "No box is plugged in for station " in said


# A box put into the class that is on


def in_class(class_ms):
    return lambda _, honest: honest | {"state": "play", "class_ms": class_ms}


def running(floor, *absent):
    """A class is on, on all boxes but these."""
    without = [word for n in absent for word in ("--without", str(n))]
    assert floor.send()[0] == 0
    floor.plugged = [box for n, box in enumerate(floor.plugged, 1) if n not in absent]
    assert floor.do("arm", "--in", "1m", *without)[0] == 0
    for box in floor.plugged:
        box.lies["status"] = in_class(754_000)
    return kept_key(floor)


def test_a_box_left_behind_is_put_in_and_told_where_the_class_is(floor):
    key = running(floor, 3)
    late = floor.boxes[2]
    floor.plugged = [late, floor.boxes[0]]
    code, said = floor.do("join", "3")
    assert code == 0 and "station 3, Station 3: waits for the remote" in said
    assert "Evening is at 12:34" in said
    armed = [m for m in late.asked if m["do"] == "arm"][-1]
    assert (armed["key"], armed["utc_ms"]) == (key, 0)
    before = [m for m in floor.boxes[0].asked if m["do"] == "arm"][-1]
    assert armed["stations"] == before["stations"] == 3  # with the one that was left out
    assert not [m for m in late.asked[-12:] if m["do"] == "put"]
    state = json.loads((floor.folder / "data" / "class.json").read_text(encoding="utf-8"))
    assert state["places"]["3"]["state"] == "armed" and state["key"] == key


def test_a_spare_hung_in_place_of_a_box_gets_its_part_from_the_store(floor):
    key = running(floor)
    with LyingBox("e66164084b0000c9", station=0) as spare:
        spare.hello["hears"] = 1
        spare.lies |= {"status": awaits(spare), "name": floor._renamed(spare)}
        floor.plugged = [spare]
        code, said = floor.do("join", "2")
        assert code == 1 and "No box is plugged in for station 2" in said
        assert floor.do("stations", "2=00c9")[0] == 0
        code, said = floor.do("join", "2")
        assert code == 0 and "station 2, Station 2: waits for the remote" in said
        assert spare.files["timelines"] == {
            name: data
            for name, data in floor.boxes[1].files["timelines"].items()
            if name == spare.selected
        }
        assert [m for m in spare.asked if m["do"] == "arm"][-1]["key"] == key
    path = floor.folder / "data" / "class.json"
    place = json.loads(path.read_text(encoding="utf-8"))["places"]["2"]
    assert (place["box"], place["state"]) == ("e66164084b0000c9", "armed")


def test_who_may_not_be_put_in_is_named_and_left_as_it_is(floor):
    running(floor)
    floor.boxes[1].lies["status"] = lambda _, honest: honest | {"state": "cut"}
    floor.boxes[2].lies["status"] = lambda _, honest: honest | {"state": "ready"}
    del floor.boxes[2].hello["hears"]
    before = [len([m for m in box.asked if m["do"] == "arm"]) for box in floor.boxes]
    code, said = floor.do("join", "1", "2", "3")
    assert code == 1 and "station 1, Station 1: not put in: is in a class already" in said
    assert "station 2, Station 2: not put in: comes back by itself" in said
    assert "station 3, Station 3: not put in: can't hear the remote" in said
    assert [len([m for m in box.asked if m["do"] == "arm"]) for box in floor.boxes] == before
    assert floor.do("join", "4")[0] == 2


def sent_meanwhile(floor):
    """A class is on at two stations; the third one's box takes its part of another plan."""
    key = running(floor, 3)
    on, floor.plugged = floor.plugged, [floor.boxes[2]]
    assert floor.send("--without", "1", "--without", "2", title="Tomorrow")[0] == 0
    assert kept_key(floor) == ""
    return key, on


def test_a_plan_sent_meanwhile_does_not_close_the_class_that_is_on(floor):
    key, on = sent_meanwhile(floor)
    late = floor.boxes[2]
    floor.plugged = [late, on[0]]
    code, said = floor.do("join", "3")
    assert code == 0 and "station 3, Station 3: waits for the remote" in said
    assert "Evening is at 12:34" in said
    assert [m for m in late.asked if m["do"] == "arm"][-1]["key"] == key
    state = json.loads((floor.folder / "data" / "led.json").read_text(encoding="utf-8"))
    assert state["places"]["3"]["state"] == "armed" and state["key"] == key
    floor.plugged = [*floor.boxes, floor.remote]
    for box in floor.plugged:
        box.lies["status"] = awaits(box)
    assert floor.send(title="Tomorrow")[0] == 0  # nobody can be in that class any more
    code, said = floor.do("join", "3")
    assert code == 1 and "Nothing tells where Tomorrow is" in said


def test_a_led_class_of_another_day_is_not_the_one_that_is_on(floor):
    sent_meanwhile(floor)
    one, _, late = floor.boxes
    sent = json.loads((floor.folder / "data" / "class.json").read_text(encoding="utf-8"))
    one.selected = sent["places"]["1"]["digest"]  # as it plays what was sent since
    late.lies["status"] = lambda _, honest: honest | {"state": "ready"}
    one.lies["status"] = lambda _, honest: (
        honest | {"state": "play", "class_ms": 5_000, "zero_ms": 1_700_000_000_000}
    )
    floor.plugged = [one, late]
    assert "Tomorrow is at 0:05" in floor.do("join", "3")[1]
    assert not [m for m in late.asked if m.get("key")]


def test_a_led_class_that_came_home_is_forgotten(floor):
    sent_meanwhile(floor)
    led = floor.folder / "data" / "led.json"
    for n, box in enumerate(floor.boxes[:2]):
        box.lies["status"] = lambda _, honest: honest | {"state": "over"}
        floor.plugged = [box]
        assert led.exists()
        floor.do("collect")
        assert led.exists() == (n == 0)


def test_beside_a_box_that_follows_the_remote_it_goes_in_with_its_key(floor):
    key = running(floor, 3)
    late = floor.boxes[2]
    floor.boxes[0].lies["status"] = lambda _, honest: (
        honest | {"state": "play", "class_ms": 754_000, "zero_ms": 1_700_000_000_000, "led": True}
    )
    late.lies["status"] = lambda _, honest: (
        honest | ({"state": "play", "class_ms": 1} if late.asked[-2]["do"] == "join" else {})
    )
    floor.plugged = [late, floor.boxes[0]]
    code, said = floor.do("join", "3")
    assert code == 0 and "is in the class" in said and "It follows the remote" in said
    (told,) = [m for m in late.asked if m["do"] == "join"]
    assert (told["key"], told["stations"], told["from_ms"]) == (key, 3, 754_000)


def test_once_another_class_is_armed_nobody_joins_the_one_before(floor):
    sent_meanwhile(floor)
    assert floor.do("arm", "--in", "1m", "--without", "1", "--without", "2")[0] == 0
    code, said = floor.do("join", "3")
    assert code == 1 and "Nothing tells where Tomorrow is" in said


def test_without_a_remote_it_says_why_nobody_can_be_put_in(floor):
    floor.plugged = floor.boxes
    assert floor.send()[0] == 0 and floor.do("arm", "--in", "1m")[0] == 0
    code, said = floor.do("join", "3")
    assert code == 1 and "Nothing tells where Evening is" in said


def test_a_remotes_log_is_kept_apart_before_it_is_erased(floor):
    data = b"whatever it kept" * 9
    floor.remote.files["runs"]["00001.hbj"] = data
    (floor.folder / "data" / "remotes").write_text("in the way", encoding="utf-8")
    floor.plugged = [floor.remote]
    code, said = floor.do("collect")
    assert code == 1 and "left on the box" in said and floor.remote.files["runs"]
    (floor.folder / "data" / "remotes").unlink()
    code, said = floor.do("collect", "--keep")
    assert code == 0 and "Remote: 0 new of 0, 1 log of a remote, kept for nobody" in said
    assert floor.remote.files["runs"]
    code, said = floor.do("collect")
    assert code == 0 and "of a remote" not in said and not floor.remote.files["runs"]
    (path,) = (floor.folder / "data" / "remotes").iterdir()
    assert path.read_bytes() == data and path.name.startswith(ID)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
