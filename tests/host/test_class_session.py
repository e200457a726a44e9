"""One class that sending, arming and collecting share: what each station's box came to."""

import json
from types import SimpleNamespace

import pytest
import serial
from class_floor import Floor
from lying_box import LyingBox, digest, no_pause_at_closing

from handbell.base.errors import BoxError, HandbellError
from handbell.boxes.classes.send import Load, pair
from handbell.boxes.classes.stations import StationMap
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.find import find_ports
from handbell.boxes.link.fleet import Fleet
from handbell.boxes.link.hostclock import SystemClock
from handbell.boxes.link.messages import Hello
from handbell.boxes.link.replies import STATUS
from handbell_core import faults

no_pause_at_closing = pytest.fixture(autouse=True)(no_pause_at_closing)


@pytest.fixture
def floor(tmp_path, capsys):
    made = Floor(tmp_path, capsys)
    yield made
    for box in made.boxes:
        box.__exit__()


def states(floor) -> dict[str, str]:
    path = floor.folder / "data" / "class.json"
    places = json.loads(path.read_text(encoding="utf-8"))["places"]
    return {n: place["state"] for n, place in places.items()}


def busy(*_):
    return {"no": faults.BUSY}


def test_a_sending_that_every_box_refuses_leaves_the_class_that_was_sent_before(floor):
    assert floor.send()[0] == 0 and floor.do("arm", "--in", "9m")[0] == 0
    for box in floor.boxes:
        box.lies |= {"put": busy, "name": busy}
    code, said = floor.send(title="Other")
    assert code == 1 and "No box took its part. handbell arm still goes by Evening." in said
    assert "taken back" not in said
    for box in floor.boxes:
        box.lies.clear()
    code, said = floor.do("arm", "--in", "8m")
    assert code == 0 and "Evening starts at" in said and floor.armed() == [1, 2, 3]


def test_one_box_that_took_its_part_makes_it_the_class_that_is_started(floor):
    assert floor.send()[0] == 0
    for box in floor.boxes[:2]:
        box.lies["put"] = busy
    assert floor.send(title="Other")[0] == 1
    assert states(floor) == {"1": "failed", "2": "failed", "3": "holds the plan"}
    code, said = floor.do("arm", "--in", "1m")
    assert code == 1 and floor.armed() == []
    assert "Station 1 holds another plan" in said and "Station 3" not in said.split("started")[1]


def test_a_box_that_got_its_part_and_lost_its_clock_counts_as_having_it(floor):
    """All others refused; the old class can't be started any more."""
    assert floor.send()[0] == 0
    for box in floor.boxes[1:]:
        box.lies["put"] = busy
    floor.boxes[0].lies["clock"] = lambda *_: {"no": faults.FLASH_ERROR}
    code, said = floor.send(title="Other")
    assert code == 1 and "still goes by" not in said
    assert set(states(floor).values()) == {"failed"}


def test_each_station_has_its_state_from_sending_to_collecting(floor):
    floor.plugged = floor.boxes[:2]
    assert floor.send("--without", "3")[0] == 0
    assert states(floor) == {"1": "holds the plan", "2": "holds the plan", "3": "left out"}
    assert floor.do("arm", "--in", "1m")[0] == 0
    assert states(floor) == {"1": "armed", "2": "armed", "3": "left out"}
    assert "Still to collect" not in floor.do("collect")[1], "the class is still to come"
    assert floor.do("arm", "--cancel")[0] == 0
    assert states(floor) == {"1": "holds the plan", "2": "holds the plan", "3": "left out"}
    assert floor.do("arm", "--in", "1m")[0] == 0
    path = floor.folder / "data" / "class.json"
    past = path.read_text(encoding="utf-8").replace('"start_utc_ms": 1', '"start_utc_ms": ')
    path.write_text(past, encoding="utf-8")
    assert floor.do("arm", "--cancel")[0] == 0
    assert states(floor)["1"] == "armed", "what has begun can't be taken back"
    floor.plugged = floor.boxes[:1]
    code, said = floor.do("collect")
    assert code == 0 and "Still to collect of the last class: station 2." in said
    assert states(floor) == {"1": "collected", "2": "armed", "3": "left out"}
    floor.plugged = floor.boxes[1:2]
    assert "Still to collect" not in floor.do("collect")[1]


def test_a_station_that_the_plan_has_not_cant_be_left_out(floor):
    code, said = floor.send("--without", "7")
    assert code == 2 and "Station 7 is not in Evening" in said
    assert not any(m["do"] == "put" for box in floor.boxes for m in box.asked)


def test_in_class_arm_names_the_class_and_nothing_that_does_not_help(floor):
    assert floor.send()[0] == 0
    for box in floor.boxes:
        box.selected = "0" * 24
        box.lies["status"] = lambda _, honest: honest | {"state": "play", "low": True, "kb": 1}
        box.asked.clear()
    code, said = floor.do("arm", "--in", "1m")
    assert code == 1
    assert "Nothing was started: a class runs on Station 1, Station 2 and Station 3." in said
    assert "Wait until it is over, or stop it at the boxes." in said
    for useless in ("--without", "send again", "battery", "room", "--cancel"):
        assert useless not in said
    asked = {m["do"] for box in floor.boxes for m in box.asked}
    assert asked == {"hello", "status"}, "a class that runs is left alone, its clock too"


def test_taking_a_start_back_in_class_does_not_advise_itself(floor):
    for box in floor.boxes:
        box.lies["disarm"] = busy
    code, said = floor.do("arm", "--cancel")
    assert code == 1 and said.count("is in a class, which goes on") == 3
    assert "--cancel" not in said


def test_a_start_too_soon_is_refused_before_any_box_is_asked(floor):
    assert floor.send()[0] == 0
    code, said = floor.do("arm", "--in", "2s")
    assert code == 2 and "--in 2s is too soon. --in 5s is the least" in said
    assert floor.armed() == []
    code, said = floor.do("arm", "--in", "5s")
    assert code == 0 and "Leave the boxes until it begins." in said and "unplug" not in said
    assert "You may unplug the boxes." in floor.do("arm", "--in", "1m")[1]


@pytest.fixture
def port_in_use(floor, monkeypatch):
    """Let another program have the port of the third box, as pyserial tells it."""
    open_port = serial.serial_for_url
    taken = floor.boxes[2].url

    def open_or_refuse(url, **how):
        if url == taken:
            raise serial.SerialException("Could not exclusively lock port: in use")
        return open_port(url, **how)

    def take():
        monkeypatch.setattr(serial, "serial_for_url", open_or_refuse)

    return take


def test_beside_another_program_only_that_is_said(floor, port_in_use):
    assert floor.send()[0] == 0
    port_in_use()
    for words in (["arm", "--in", "1m"], ["send", str(floor.folder / "Evening.toml")]):
        code, said = floor.do(*words)
        assert code == 1 and said.count("another program is using this port. Close it") == 1
        for useless in ("plugged in", "--without", "Mend", "stations"):
            assert useless not in said
    assert floor.armed() == []


def test_beside_a_box_with_another_s_id_only_that_is_said(floor):
    assert floor.send()[0] == 0
    floor.boxes[2].hello["id"] = floor.boxes[0].hello["id"]
    for words in (["arm", "--in", "1m"], ["send", str(floor.folder / "Evening.toml")]):
        code, said = floor.do(*words)
        error = said.rpartition("2, Station 2: ready")[2] if words[0] == "arm" else said
        assert code == 1 and "this box has the same id as" in error
        assert "Unplug one of them" in error
        for useless in ("plugged in for", "--without", "Mend", "stations"):
            assert useless not in said
    assert floor.armed() == []


def test_beside_a_port_that_may_not_be_opened_only_that_is_said(floor, monkeypatch):
    open_port = serial.serial_for_url
    shut = floor.boxes[2].url

    def open_or_refuse(url, **how):
        if url == shut:
            raise serial.SerialException("[Errno 13] could not open port: Permission denied")
        return open_port(url, **how)

    assert floor.send()[0] == 0
    monkeypatch.setattr(serial, "serial_for_url", open_or_refuse)
    for words in (["arm", "--in", "1m"], ["send", str(floor.folder / "Evening.toml")]):
        code, said = floor.do(*words)
        assert code == 1 and "you may not open this port. On Linux add yourself" in said
        assert "plugged in for" not in said and "--without" not in said
    assert floor.armed() == []


def test_what_hinders_the_store_is_said_once(floor, monkeypatch):
    from handbell.base.errors import StoreError
    from handbell.store.store import Store

    def full(*_):
        raise StoreError("The store is full")

    for name in ("put_plan", "add_contact", "contacts_of"):
        monkeypatch.setattr(Store, name, full)
    assert floor.send()[1].count("The store is full") == 1


def test_a_box_that_hangs_elsewhere_since_it_was_sent_is_sent_anew_first(floor):
    assert floor.send()[0] == 0
    assert floor.do("stations", "1=a2", "2=a1")[0] == 0
    code, said = floor.do("arm", "--in", "1m")
    assert code == 1 and floor.armed() == []
    assert said.count("is no longer the box of its station, so run handbell send again") == 4
    assert floor.send()[0] == 0 and floor.do("arm", "--in", "1m")[0] == 0


def test_a_box_that_took_a_place_that_is_left_out_is_sent_anew_first(floor):
    assert floor.send()[0] == 0
    assert floor.do("stations", "1=a2")[0] == 0
    code, said = floor.do("arm", "--in", "1m", "--without", "1")
    assert code == 1 and floor.armed() == []
    assert "is no longer the box of its station, so run handbell send again" in said


def test_a_store_that_cant_be_opened_stops_no_sending(floor):
    (floor.folder / "folder").mkdir()
    code, said = floor.send("--store", str(floor.folder / "folder"))
    assert code == 0 and "Every box has its part" in said and "note: " in said
    assert floor.do("arm", "--in", "1m", "--store", str(floor.folder / "folder"))[0] == 0


def test_a_box_that_only_says_that_it_is_set_stops_the_class(floor):
    assert floor.send()[0] == 0
    floor.boxes[1].lies["status"] = lambda _, honest: honest | {"state": "ready"}
    code, said = floor.do("arm", "--in", "1m")
    assert code == 1 and floor.armed() == []
    assert "Nothing was started: Station 2: answered what no box of ours would" in said


def test_a_box_that_only_says_that_it_has_the_plan_has_failed(floor):
    floor.boxes[1].lies["status"] = lambda _, honest: honest | {"sel": "0" * 24}
    code, said = floor.send()
    assert code == 1 and "Station 2: answered what no box of ours would" in said
    assert states(floor) == {"1": "holds the plan", "2": "failed", "3": "holds the plan"}


def test_a_box_that_only_says_that_its_start_is_gone_is_named(floor):
    assert floor.send()[0] == 0 and floor.do("arm", "--in", "5m")[0] == 0
    floor.boxes[1].lies["status"] = lambda _, honest: honest | {"state": "set"}
    code, said = floor.do("arm", "--cancel")
    assert code == 1 and "2 boxes will not start" in said
    assert "Station 2 may still start at" in said


def test_arming_that_is_broken_off_takes_every_start_back(floor, monkeypatch):
    assert floor.send()[0] == 0
    each = Fleet.each

    def broken_off(self, do, on=None):
        outcomes = each(self, do, on)
        if floor.armed():
            monkeypatch.setattr(Fleet, "each", each)
            raise KeyboardInterrupt
        return outcomes

    monkeypatch.setattr(Fleet, "each", broken_off)
    code, said = floor.do("arm", "--in", "5m")
    assert code == 130 and floor.armed() == [] and "may still start" not in said
    monkeypatch.setattr(Fleet, "each", broken_off)
    floor.boxes[1].lies["disarm"] = lambda *_: {"no": faults.FLASH_ERROR}
    code, said = floor.do("arm", "--in", "5m")
    assert code == 1 and "Nothing was started. But Station 2 may still start by itself" in said


def test_the_map_is_changed_though_a_box_in_class_does_not_take_its_name(floor):
    floor.boxes[0].lies["name"] = busy
    code, said = floor.do("stations", "--label", "1=Door")
    assert code == 0 and "Door" in said
    assert "handbell send tells the box its new station" in said


def test_boxes_says_which_plan_a_box_holds(floor):
    assert floor.send()[0] == 0
    floor.boxes[1].selected, floor.boxes[2].selected = "0" * 24, ""
    code, said = floor.do("boxes", "--json")
    rows = json.loads(said)["data"]["boxes"]
    assert code == 0 and [row["plan"] for row in rows] == ["Evening", "another", ""]


def test_boxes_knows_the_title_of_a_plan_that_was_sent_before(floor):
    assert floor.send(title="Morning")[0] == 0
    floor.plugged = floor.boxes[:2]
    assert floor.send("--without", "3")[0] == 0
    floor.plugged = floor.boxes
    code, said = floor.do("boxes")
    assert code == 0 and "Evening: Station 1, Station 2" in said
    assert "Morning, not what was sent last: Station 3" in said


def test_a_replaced_box_that_comes_back_is_told_and_becomes_a_spare(floor):
    with LyingBox("e66164084b0000a9", station=0) as spare:
        spare.lies["name"] = Floor._renamed(spare)
        floor.plugged = [*floor.boxes[:2], spare]  # the third is switched off
        assert floor.do("stations", "3=a9")[0] == 0
        floor.plugged = [*floor.boxes, spare]
        assert "calls itself station 3, and another box hangs there" in floor.do("boxes")[1]
        assert floor.send()[0] == 0
        assert [box.hello["station"] for box in floor.plugged] == [1, 2, 0, 3]
        assert "another box hangs there" not in floor.do("boxes")[1]


def test_a_self_test_of_a_box_in_class_finds_no_fault(floor, monkeypatch):
    monkeypatch.setattr(SystemClock, "sleep", lambda *_: None)
    floor.boxes[0].lies["test"] = busy
    code, said = floor.do("boxes", "--self-test")
    assert code == 1 and "Box 1: is in a class" in said
    assert "FAULT" not in said.split("Box 2")[0]


@pytest.mark.parametrize("word, rings", [("2", [2]), ("00a3", [3]), ("00A3", [3]), ("a3", [])])
def test_a_box_rings_by_its_station_or_the_end_of_its_id(floor, word, rings):
    code = floor.do("identify", word)[0]
    assert [
        n for n, b in enumerate(floor.boxes, 1) if any(m["do"] == "ring" for m in b.asked)
    ] == rings
    assert code == (0 if rings else 1)


def test_a_box_that_answers_slowly_for_ever_is_given_up(floor):
    """Each answer takes 0.3 s, in time; there are 180 s of patience, and quick ones cost a tenth."""
    clock = SimpleNamespace(us=0, mono_us=lambda: clock.us)
    box = floor.boxes[0]

    def slowly(_, honest):
        clock.us += 300_000
        return honest

    box.lies["status"] = slowly
    with Connection(box.url, clock) as connection:
        connection.hello()
        box.asked.clear()
        with pytest.raises(BoxError, match="answers far too slowly"):
            while True:
                connection.ask(STATUS)
        assert len(box.asked) == 601
        connection.hello()
        box.lies["status"] = lambda _, honest: setattr(clock, "us", clock.us + 100_000) or honest
        for _ in range(2_000):
            connection.ask(STATUS)
        connection.hello()
        assert connection.ask(STATUS).state == "ready", "greeted anew, it is given time anew"


def fleet_of(*boxes: tuple[str, int]):
    """Boxes that call themselves by a number, at their ports, in the order of the fleet."""
    connections = [
        SimpleNamespace(who=Hello(f"{n:016x}", station=station), url=url)
        for n, (url, station) in enumerate(boxes, 1)
    ]
    return SimpleNamespace(connections=connections, strangers=[], hiding=None)


def paired(fleet, stations, without=(), floor_map=None) -> dict[int, str]:
    loads = [Load(n, f"Station {n}", digest(b"x"), b"x") for n in stations]
    found = pair(fleet, loads, floor_map or StationMap(), set(without))
    return {load.station: connection.url for connection, load in found}


def test_without_a_map_a_box_goes_by_its_own_number():
    fleet = fleet_of(("a", 1), ("b", 2), ("c", 3), ("d", 4))
    assert paired(fleet, (1, 2, 3, 4), without={2}) == {1: "a", 3: "c", 4: "d"}
    with pytest.raises(HandbellError, match="No box is plugged in for station 5"):
        paired(fleet, (1, 5))


def test_boxes_without_a_number_fill_what_is_left_in_the_order_people_count():
    fleet = fleet_of(("COM10", 0), ("COM9", 2), ("COM3", 0), ("COM2", 0))
    assert paired(fleet, (1, 2, 3, 4)) == {1: "COM2", 2: "COM9", 3: "COM3", 4: "COM10"}


def test_the_map_goes_before_what_a_box_calls_itself():
    fleet = fleet_of(("a", 2), ("b", 1), ("c", 0))
    floor_map = StationMap()
    floor_map.place(1, f"{1:016x}")
    assert paired(fleet, (1, 2), floor_map=floor_map) == {1: "a", 2: "c"}
    floor_map.place(3, "not plugged in")
    with pytest.raises(HandbellError, match="for station 3"):
        paired(fleet, (1, 3), floor_map=floor_map)


def test_ports_are_found_in_the_order_people_count(monkeypatch):
    monkeypatch.delenv("HANDBELL_PORTS", raising=False)
    names = ("/dev/ttyACM10", "/dev/ttyACM2", "/dev/ttyACM0", "/dev/ttyACM1")
    found = [SimpleNamespace(device=name, vid=0x2E8A, pid=0x0005) for name in names]
    monkeypatch.setattr("handbell.boxes.link.find.list_ports.comports", lambda: found)
    assert find_ports() == [f"/dev/ttyACM{n}" for n in (0, 1, 2, 10)]


def test_a_quote_without_an_end_in_the_ports_is_one_sentence(monkeypatch):
    monkeypatch.setenv("HANDBELL_PORTS", "it's")
    with pytest.raises(HandbellError, match="HANDBELL_PORTS has a quote without an end"):
        find_ports()
