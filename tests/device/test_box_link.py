"""The wire: junk, repeats, cuts at every point, strangers, two hosts."""

import binascii
import contextlib
import os
import pty
import struct
import threading
import time

import pytest
from faulty_cable import part_after

from handbell.base.errors import BoxError, HandbellError
from handbell.boxes.classes.arm import arm, survey
from handbell.boxes.classes.collect import collect
from handbell.boxes.classes.send import Load, put
from handbell.boxes.link.connection import Connection, InUseError
from handbell.boxes.link.fleet import Fleet
from handbell.store import open_store
from handbell_core import frames
from made import lead_in, rest, window
from rig import Rig, digest, load, timeline

pytestmark = pytest.mark.usefixtures("micropython")


def short():
    return [lead_in(5_000), window(10_000), rest(5_000)]


def long():
    return [lead_in(5_000)] + [window(10_000) for _ in range(30)]


def test_a_repeated_request_has_the_effect_of_one(tmp_path):
    with Rig(tmp_path) as rig, rig.connect() as connection:
        line = frames.encode({"q": 900, "s": "same", "do": "name", "station": 4, "label": "x"})
        connection._port.write(line * 3)
        time.sleep(0.2)
        replies = frames.FrameReader().feed(connection._port.read(connection._port.in_waiting))
        assert [r["q"] for r in replies] == [900] * 3
        assert connection.hello().station == 4


def test_junk_on_the_line_is_passed_over(tmp_path):
    data = timeline(short)
    with Rig(tmp_path) as rig:
        rig.send([data])
        with rig.connect() as connection:
            noise = bytes(n for n in range(256) if n != 3) * 40
            connection._port.write(noise + b"\r\n" + b"z" * 5000 + b"\n{}\n" + noise + b"\n")
            assert connection.request("status")["sel"] == digest(data)


def test_a_stray_break_does_not_stop_a_class(tmp_path):
    data = timeline(long)
    with Rig(tmp_path) as rig:
        rig.send([data])
        rig.arm([data], in_s=5)
        with rig.connect() as connection:
            connection._port.write(b"\x03\x03\r\n")
            time.sleep(0.1)
            assert connection.request("status")["state"] == "set"
            with pytest.raises(BoxError, match="in a class"):
                rig_yield(connection)


def rig_yield(connection):
    connection.request("yield")


def test_at_rest_a_break_or_a_yield_gives_the_prompt(tmp_path):
    with Rig(tmp_path) as rig:
        # On the desktop the process ends with the prompt, perhaps before its answer has arrived.
        with rig.connect() as connection, contextlib.suppress(BoxError):
            connection.request("yield", tries=1)
        wait_until(lambda: not rig.box.is_alive())


def wait_until(ready, seconds=5.0):
    end = time.monotonic() + seconds
    while not ready():
        assert time.monotonic() < end
        time.sleep(0.02)


@pytest.mark.parametrize("after", [1, 150, 400, 900, 1_700, 2_600, 3_500])
def test_unplugged_at_any_point_of_a_send_the_box_stays_playable(tmp_path, after):
    old, new = timeline(short), timeline(long)
    with Rig(tmp_path) as rig:
        rig.send([old])
        part_after(rig.box, after)
        with pytest.raises(HandbellError):
            rig.send([new])
        wait_until(lambda: not rig.box.host_open)
        rig.box.plug_in()
        status = rig.ask("status")
        assert status["state"] == "ready"
        # the last cut comes after the whole timeline, while the clock is being set
        assert status["sel"] == digest(old if after < 3_000 else new)
        rig.send([new])  # goes on where it stopped
        assert rig.ask("status")["sel"] == digest(new)


def test_a_send_goes_on_at_the_last_good_byte_even_after_a_power_cut(tmp_path):
    new = timeline(lambda: [lead_in(5_000)] + [window(10_000) for _ in range(100)])
    with Rig(tmp_path) as rig:
        with rig.connect() as connection:
            size = len(new)
            at = 0
            while at < size - 400:
                part = binascii.b2a_base64(new[at : at + frames.CHUNK], newline=False).decode()
                at = connection.request("put", d=digest(new), n=size, at=at, b=part)["at"]
        rig.box.cut_power()
        rig.box.power_up()
        with rig.connect() as connection:
            have = connection.request("put", d=digest(new), n=size, at=0, b="")["at"]
            assert 0 < have <= at
            put(connection, load(1, new))
            assert connection.request("status")["sel"] == digest(new)


def test_a_timeline_with_a_wrong_bit_in_the_flash_is_sent_again(tmp_path):
    new = timeline(lambda: [lead_in(5_000)] + [window(10_000) for _ in range(100)])
    with Rig(tmp_path) as rig:
        rig.send([new])
        rig.box.cut_power()
        flash = rig.box.spec.flash
        good = new[500:600]
        bad = good[:50] + bytes([good[50] ^ 1]) + good[51:]
        flash.write_bytes(flash.read_bytes().replace(good, bad))  # older copies of the block too
        rig.box.power_up()
        assert rig.ask("status")["sel"] != digest(new)
        rig.send([new])
        assert rig.ask("status")["sel"] == digest(new)
        with rig.connect() as connection:
            assert connection.fetch("timelines", digest(new), len(new)) == new


@pytest.mark.parametrize("after", [1, 200, 320, 500, 700])
def test_unplugged_at_any_point_of_a_collect_nothing_is_lost(tmp_path, after):
    data = timeline(short)
    with Rig(tmp_path) as rig:
        rig.send([data])
        start = rig.arm([data])
        for n in range(8):
            rig.box.press(0, start + 6_000_000 + n * 1_000_000)
        rig.world.run_to(start + 90_000_000)
        store_path = str(tmp_path / "s.sqlite")
        part_after(rig.box, after)
        new = 0
        try:
            with rig.fleet() as fleet, open_store(store_path) as store:
                for outcome in collect(fleet, store):
                    new += outcome.value.new if outcome.value else 0
        except HandbellError:
            pass
        wait_until(lambda: not rig.box.host_open)
        rig.box.plug_in()
        with rig.fleet() as fleet, open_store(store_path) as store:
            outcome = collect(fleet, store)[0]
            assert outcome.error is None
            with store.reading() as conn:
                from sqlalchemy import func, select

                from handbell.store.database import tables

                runs = conn.execute(select(func.count()).select_from(tables.runs)).scalar_one()
                taps = conn.execute(select(func.count()).select_from(tables.taps)).scalar_one()
        assert (runs, taps) == (1, 8)
        assert rig.ask("status")["runs"] == 0


def test_a_log_is_erased_only_by_its_digest(tmp_path):
    data = timeline(short)
    with Rig(tmp_path) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.world.run_to(start + 90_000_000)
        with rig.connect() as connection:
            entry = connection.request("list", of="runs", i=0)
            with pytest.raises(BoxError, match="not whole"):
                connection.request("drop", of="runs", name=entry["name"], d="0" * 24)
            assert connection.request("list", of="runs", i=0)["n"] == 1
            for _ in range(2):
                connection.request("drop", of="runs", name=entry["name"], d=entry["d"])
            assert connection.request("list", of="runs", i=0)["n"] == 0


def test_a_port_that_is_no_box():
    ours, theirs = pty.openpty()
    stop = threading.Event()

    def babble():
        while not stop.is_set():
            os.write(ours, b"login: ")
            time.sleep(0.05)

    thread = threading.Thread(target=babble, daemon=True)
    thread.start()
    try:
        with Fleet([os.ttyname(theirs)]) as fleet:
            assert fleet.connections == []
            (stranger,) = fleet.strangers
            assert "no Handbell box answers" in str(stranger.error)
    finally:
        stop.set()
        thread.join()
        os.close(ours)
        os.close(theirs)


def test_a_port_that_is_not_there():
    with pytest.raises(BoxError, match="no such port"):
        Connection("/dev/no-such-port")


def test_two_hosts_on_one_port(tmp_path):
    with Rig(tmp_path) as rig, rig.connect():
        with pytest.raises(BoxError, match="another program is using this port"):
            Connection(rig.box.url)


def test_other_versions_are_refused_in_words(tmp_path, monkeypatch):
    with Rig(tmp_path) as rig:
        monkeypatch.setattr(frames, "VERSION", 2)
        with Fleet([rig.box.url], rig.world.clock) as fleet:
            (outcome,) = fleet.each(lambda c: c.request("ring"))
            assert "speaks another version" in str(outcome.error)
            (outcome,) = fleet.each(lambda c: c.request("list", of="runs", i=0))
            assert outcome.value["n"] == 0


def test_a_plan_of_a_later_version_is_refused_by_the_box_in_words(tmp_path):
    plan = bytearray(timeline(short, 1))
    plan[4] = 3
    plan[60:64] = struct.pack("<I", binascii.crc32(plan[:60]))
    later = bytes(plan)
    with Rig(tmp_path) as rig:
        rig.send([timeline(short, 1)])
        selected = rig.ask("status")["sel"]
        with rig.connect() as connection:
            with pytest.raises(BoxError, match="speaks another version"):
                put(connection, load(1, later))
            assert connection.request("status")["sel"] == selected
            assert connection.request("list", of="timelines", i=0)["n"] == 1


def test_a_station_without_a_box_stops_a_send_unless_left_out(tmp_path):
    both = [timeline(short, 1), timeline(short, 2)]
    with Rig(tmp_path) as rig:
        from handbell.boxes.classes.send import send

        loads = [load(n, data) for n, data in enumerate(both, 1)]
        with rig.fleet() as fleet:
            with pytest.raises(HandbellError, match="No box is plugged in for station 2"):
                send(fleet, loads, rig.map)
            outcomes = send(fleet, loads, rig.map, without={2})
            assert [o.error for o in outcomes] == [None]


def test_arming_is_all_or_none(tmp_path):
    both = [timeline(short, 1), timeline(short, 2)]
    with Rig(tmp_path, boxes=2) as rig:
        rig.send(both)
        rig.world.boxes[1].unplug()
        with pytest.raises(HandbellError, match="is not plugged in"):
            arm_first(rig, both)
        assert rig.ask("status")["state"] == "ready"
        rig.world.boxes[1].plug_in()
        start = rig.arm(both, in_s=100)
        with pytest.raises(HandbellError, match="earlier start still stands on Station 1"):
            arm_first(rig, both)
        assert start > 0


def test_a_low_battery_is_called_low_on_a_cable_too(tmp_path):
    data = timeline(short)
    with Rig(tmp_path) as rig:
        rig.send([data])
        rig.box.battery_mv = 3_000
        rig.world.run_for(100_000_000)
        with rig.connect() as connection:
            facts = connection.request("status")
        assert facts["mv"] < 3_600
        assert facts["usb"] is True and facts["low"] is True


def test_a_low_battery_stops_an_arming(tmp_path):
    data = timeline(short)
    with Rig(tmp_path) as rig:
        rig.send([data])
        sent = rig.sent([data])
        with rig.fleet() as fleet:
            real = fleet.connections[0]._exchange

            def on_battery(do, *more):
                facts, *times = real(do, *more)
                low = {"low": True, "mv": 3_000} if do == "status" else {}
                return {**facts, **low}, *times

            fleet.connections[0]._exchange = on_battery
            table = survey(fleet, sent)
            with pytest.raises(HandbellError, match=r"battery low \(3.00 V\)"):
                arm(fleet, table, sent, rig.world.clock.utc_us() // 1000 + 20_000)
        assert rig.ask("status")["state"] == "ready"


def test_an_arming_that_fails_half_way_takes_the_start_back(tmp_path, monkeypatch):
    both = [timeline(short, 1), timeline(short, 2)]
    with Rig(tmp_path, boxes=2) as rig:
        rig.send(both)
        sent = rig.sent(both)
        with rig.fleet() as fleet:
            table = survey(fleet, sent)
            sent.places[2].digest = "0" * 24  # the second box refuses
            with pytest.raises(HandbellError, match="Nothing was started"):
                arm(fleet, table, sent, rig.world.clock.utc_us() // 1000 + 20_000)
            states = [o.value["state"] for o in fleet.each(lambda c: c.request("status"))]
        assert states == ["ready", "ready"]


def arm_first(rig, both):
    sent = rig.sent(both)
    with Fleet([rig.box.url], rig.world.clock) as fleet:
        arm(fleet, survey(fleet, sent), sent, rig.world.clock.utc_us() // 1000 + 20_000)


def test_in_class_a_host_can_disturb_nothing(tmp_path):
    data, other = timeline(long), timeline(short)
    with Rig(tmp_path) as rig:
        rig.send([data])
        rig.arm([data], in_s=5)
        with rig.connect() as connection:
            size = len(other)
            for request in (
                {"do": "put", "d": digest(other), "n": size, "at": 0, "b": ""},
                {"do": "name", "station": 9, "label": "x"},
                {"do": "list", "of": "timelines", "i": 0},
                {"do": "drop", "of": "timelines", "name": digest(data), "d": digest(data)},
                {"do": "select", "d": digest(data)},
            ):
                with pytest.raises(BoxError, match="in a class"):
                    connection.request(**request)
            assert connection.request("status")["state"] == "set"


def test_a_start_far_ahead_may_be_cancelled_by_sending_anew(tmp_path):
    data, other = timeline(long), timeline(short)
    with Rig(tmp_path) as rig:
        rig.send([data])
        rig.arm([data], in_s=3_600)
        rig.send([other])
        status = rig.ask("status")
        assert status["state"] == "ready" and status["sel"] == digest(other)


def test_a_spare_takes_a_dead_box_s_place(tmp_path):
    data = timeline(short, 1)
    with Rig(tmp_path, boxes=2) as rig:
        dead, spare = rig.world.boxes
        del rig.map.stations[2]
        dead.unplug()
        replaced = rig.map.place(1, spare.spec.unique_id.hex())
        assert replaced == dead.spec.unique_id.hex()
        from handbell.boxes.classes.send import send

        with Fleet([spare.url], rig.world.clock) as fleet:
            outcomes = send(fleet, [load(1, data)], rig.map)
        assert outcomes[0].value is not None
        hello = rig.ask("hello", spare)
        assert hello["station"] == 1


def test_a_timeline_for_more_buttons_than_a_box_has_is_refused(tmp_path):
    data = timeline(short)
    with Rig(tmp_path) as rig, rig.fleet() as fleet:
        from handbell.boxes.classes.send import send

        too_many = Load(1, "x", digest(data), data, buttons=3)
        outcome = send(fleet, [too_many], rig.map)[0]
        assert "has 2 buttons, and this plan needs 3" in str(outcome.error)


def test_a_box_is_told_how_many_buttons_it_has_and_keeps_it(tmp_path):
    data = timeline(short)
    with Rig(tmp_path) as rig:
        assert rig.ask("hello")["buttons"] == 2, "as many as it has pins for"
        rig.ask("name", station=1, label="", buttons=1)
        rig.ask("name", station=2, label="Door")
        rig.box.cut_power()
        rig.world.run_for(1_000_000)
        rig.box.power_up()
        rig.world.run_for(5_000_000)
        assert rig.ask("hello")["buttons"] == 1
        with rig.fleet() as fleet:
            from handbell.boxes.classes.send import send

            outcome = send(fleet, [Load(1, "x", digest(data), data, buttons=2)], rig.map)[0]
        assert "has 1 button, and this plan needs 2" in str(outcome.error)
        rig.ask("name", station=2, label="Door", buttons=7)
        assert rig.ask("hello")["buttons"] == 2


@pytest.mark.parametrize(
    "serve, said",
    [("pty", "another program is using this port"), ("tcp", "another program may be using")],
)
def test_a_second_program_is_told_that_the_port_is_in_use(tmp_path, serve, said):
    with Rig(tmp_path, serve=serve) as rig, rig.connect():
        with Fleet([rig.box.url], rig.world.clock) as fleet:
            (stranger,) = fleet.strangers
    assert isinstance(stranger.error, InUseError)
    assert said in str(stranger.error) and "Close it and try again" in str(stranger.error)
