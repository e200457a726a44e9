"""A class on the real firmware: presses on the pins to counts in the journal, and what can go wrong."""

import random
import struct
import time

import pytest

from handbell.base.errors import HandbellError
from handbell.boxes.classes.collect import collect
from handbell.boxes.clocks.clock import set_clock
from handbell.store import open_store
from handbell_core import faults, journal
from made import ASK_TARGET, GATE, lead_in, own, rest, span, window
from rig import Rig, digest, of_kind, reps, start_by_hand, timeline

pytestmark = pytest.mark.usefixtures("micropython")


def three_windows():
    return [
        lead_in(5_000),
        window(20_000),
        rest(10_000),
        window(20_000, ask=ASK_TARGET, goal=5),
        rest(10_000),
        window(20_000),
    ]


def press_at(rig, box, start_us, slot, times_s, **how):
    for at in times_s:
        box.press(slot, start_us + int(at * 1e6), **how)


def test_presses_on_the_pins_become_reps_in_the_journal(tmp_path):
    data = timeline(three_windows)
    with Rig(tmp_path) as rig:
        rig.send([data])
        start = rig.arm([data])
        bounce = [700, 1500, 2300, 6200]
        press_at(rig, rig.box, start, 0, [6 + n for n in range(10)], bounce=bounce)
        late = [1_000 + 6_783 * n for n in range(24)]  # to 157 ms
        press_at(rig, rig.box, start, 1, [6, 8, 10], release_bounce=late, hold_ms=130)
        press_at(rig, rig.box, start, 0, [36 + n for n in range(8)])
        press_at(rig, rig.box, start, 1, [70])
        press_at(rig, rig.box, start, 1, [72], hold_ms=2_000)
        rig.world.run_to(start + 200_000_000)
        (run,) = rig.runs()
    assert reps(run) == {(7, 1): 10, (8, 1): 3, (7, 2): 5, (8, 2): 0, (7, 3): 0, (8, 3): 0}
    taps = of_kind(run, journal.TAP)
    assert len(taps) == 22
    at_ms = [t[3] for t in taps if t[1] == 0][:3]
    assert all(abs(at - want) <= 2 for at, want in zip(at_ms, (6_000, 7_000, 8_000), strict=True))
    assert len(of_kind(run, journal.BACK)) == 1
    end = of_kind(run, journal.END)[0]
    cause, _, late_cues, _, total = struct.unpack("<BBHII", end[4])
    assert (cause, late_cues, total) == (journal.BY_TIME, 0, 22)


@pytest.mark.parametrize(("count_s", "cut_s"), [(0, 50.3), (3, 50.3), (3, 54.95)])
def test_power_lost_in_class_costs_at_most_the_last_five_seconds(tmp_path, count_s, cut_s):
    data = timeline(three_windows, count_s=count_s)
    with Rig(tmp_path) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.box.unplug()
        times = [6 + n / 2 for n in range(36)] + [36 + n / 2 for n in range(36)]
        press_at(rig, rig.box, start, 0, times)
        rig.world.run_to(start + int(cut_s * 1e6))
        rig.box.cut_power()
        rig.box.power_up()
        rig.box.plug_in()
        status = rig.ask("status")
        (run,) = rig.runs()
        assert status["clock"] is False and status["state"] == "ready" and status["runs"] == 1
        kept = {t[3] for t in of_kind(run, journal.TAP)}
        for at in times:
            if at < cut_s - 5:
                assert any(abs(k - at * 1000) <= 2 for k in kept), at
        assert not of_kind(run, journal.END)
        with rig.fleet() as fleet, open_store(str(tmp_path / "s.sqlite")) as store:
            outcome = collect(fleet, store)[0]
            assert outcome.error is None and outcome.value.new == 1
        assert rig.ask("status")["runs"] == 0


def test_power_lost_late_in_a_class_keeps_what_came_before(tmp_path):
    data = timeline(lambda: [lead_in(5_000)] + [window(60_000) for _ in range(3)])
    with Rig(tmp_path) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.box.unplug()
        times = [6 + n / 2 for n in range(330)]
        press_at(rig, rig.box, start, 0, times)
        for cut_s in (100.2, 101.9):  # the second cut comes after a start and no new class
            rig.world.run_to(start + int(cut_s * 1e6))
            rig.box.cut_power()
            rig.box.power_up()
        rig.box.plug_in()
        (run,) = rig.runs()
        kept = [t[3] for t in of_kind(run, journal.TAP)]
        assert len(kept) == len(set(kept))
        assert sum(t < 100.2 - 5 for t in times) <= len(kept) <= sum(t < 100.2 for t in times)


def test_collect_twice_changes_nothing_the_second_time(tmp_path):
    data = timeline(three_windows)
    store_path = tmp_path / "s.sqlite"
    with Rig(tmp_path, boxes=2) as rig:
        both = [data, timeline(three_windows, 2)]
        rig.send(both)
        start = rig.arm(both)
        press_at(rig, rig.box, start, 0, [6, 7, 8])
        rig.world.run_to(start + 200_000_000)
        counts = []
        for _ in range(2):
            with rig.fleet() as fleet, open_store(str(store_path)) as store:
                outcomes = collect(fleet, store)
                counts.append([o.value.new for o in outcomes])
                with store.reading() as conn:
                    from sqlalchemy import func, select

                    from handbell.store.database import tables

                    rows = [
                        conn.execute(select(func.count()).select_from(t)).scalar()
                        for t in tables.metadata.sorted_tables
                        if t.name != "contacts"  # each look at a clock is one more
                    ]
                counts.append(rows)
        assert counts[0] == [1, 1] and counts[2] == [0, 0]
        assert counts[1] == counts[3]


def test_six_classes_by_hand_without_a_host_then_collected_together(tmp_path):
    data = timeline(lambda: [lead_in(5_000), window(10_000), rest(5_000)])
    with Rig(tmp_path) as rig:
        rig.send([data])
        rig.box.unplug()
        at = rig.world.now_us() + 10_000_000
        for n in range(6):
            start_by_hand(rig.box, at)  # at the next half minute
            rig.world.run_to(at + 3_000_000)
            begin = at + 2_000_000
            begin += 30_000_000 - (begin + 5_000_000 - 3_000_000) % 30_000_000
            for k in range(n + 1):
                rig.box.press(0, rig.world.now_us() + 42_000_000 + k * 700_000)
            at += 160_000_000
            rig.world.run_to(at - 4_000_000)
        rig.box.plug_in()
        runs = rig.runs()
        assert len(runs) == 6
        for run in runs:
            state = of_kind(run, journal.STATE)[0]
            _, cause, _, utc_ms = struct.unpack("<BBHq", state[4])
            assert cause == journal.BY_HAND and utc_ms % 30_000 == 0
            assert of_kind(run, journal.END)
        with rig.fleet() as fleet, open_store(str(tmp_path / "s.sqlite")) as store:
            outcome = collect(fleet, store)[0]
            assert outcome.error is None and outcome.value.new == 6


def test_a_gate_on_four_boxes_pressed_at_different_moments(tmp_path):
    def spans():
        return [lead_in(5_000), window(10_000), span(GATE, 0), window(10_000)]

    both = [timeline(spans, n) for n in range(1, 5)]
    with Rig(tmp_path, boxes=4) as rig:
        rig.send(both)
        start = rig.arm(both)
        for box, at_s in zip(rig.world.boxes, (25.0, 28.7, 33.3, 41.9), strict=True):
            box.press(0, start + int(at_s * 1e6), hold_ms=1_800)
        rig.world.run_to(start + 150_000_000)
        instants = set()
        for box in rig.world.boxes:
            (run,) = rig.runs(box)
            states = [struct.unpack("<BBHq", s[4]) for s in of_kind(run, journal.STATE)]
            instants.add(states[-1][3])
            assert of_kind(run, journal.END)[0][3] == 25_000
        (utc_ms,) = instants
        assert utc_ms % 30_000 == 0
        go_us = utc_ms * 1000 - rig.world.clock.start_utc_us
        for box in rig.world.boxes:
            assert "erred" not in rig.ask("status", box)
            assert min(abs(bell - go_us) for bell in box.sound.bells()) < 1_000


def test_a_clock_set_in_class_does_not_move_the_class(tmp_path):
    data = timeline(three_windows)
    with Rig(tmp_path, ppm=200) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.world.run_to(start + 12_000_000)
        with rig.connect() as connection:
            set_clock(connection)
        rig.world.run_to(start + 120_000_000)
        bells = [bell - start for bell in rig.box.sound.bells() if bell > start]
        late = 105_000_000 * 200 // 1_000_000  # what the crystal is off by, 105 s after the sync
        for due_s in (5, 25, 35, 55, 65, 85):
            assert min(abs(bell - due_s * 1_000_000) for bell in bells) <= late + 2_000


def test_a_two_hour_timeline_costs_a_box_no_more_memory_than_a_short_one(tmp_path):
    def many(count):
        return lambda: [lead_in(5_000)] + [window(5_000) for _ in range(count)]

    small, large = timeline(many(10)), timeline(many(1_500))
    free = []
    with Rig(tmp_path) as rig:
        for data in (small, large):
            rig.send([data])
            start = rig.arm([data])
            rig.world.run_to(start + 30_000_000)
            assert rig.ask("status")["state"] == "play"
            free.append(rig.ask("status", heap=1)["heap"])
            rig.box.cut_power()
            rig.box.power_up()
    assert abs(free[0] - free[1]) <= 4096 * 2  # 64-bit words: twice the chip's bytes


def test_a_flipped_bit_in_a_timeline_is_refused_and_the_old_one_stays(tmp_path):
    old, new = timeline(three_windows), timeline(lambda: three_windows()[:2])
    bad = bytearray(new)
    bad[100] ^= 1
    with Rig(tmp_path) as rig:
        rig.send([old])
        with rig.connect() as connection:
            from handbell.boxes.classes.send import Load, put

            with pytest.raises(HandbellError, match="not whole"):
                put(connection, Load(1, "", digest(new), bytes(bad)))
            status = connection.request("status")
            assert status["sel"] == digest(old) and status["state"] == "ready"
        rig.send([new])
        assert rig.ask("status")["sel"] == digest(new)


def test_a_timeline_broken_on_the_flash_is_told_and_the_box_still_answers(tmp_path):
    data = timeline(lambda: three_windows() + [window(10_000) for _ in range(20)])
    with Rig(tmp_path) as rig:
        rig.send([data])
        rig.box.cut_power()
        image = rig.box.spec.flash.read_bytes()
        at = image.find(data[:64])
        assert at >= 0
        broken = bytearray(image)
        broken[at + 80] ^= 0x40
        rig.box.spec.flash.write_bytes(bytes(broken))
        rig.box.power_up()
        status = rig.ask("status")
        assert status["state"] == "empty" and status["fault"] == faults.TIMELINE_BROKEN
        other = timeline(lambda: three_windows()[:2])
        rig.send([other])
        assert rig.ask("status")["fault"] == 0


FILLER = """
import os
s = os.statvfs(".")
n = 0
try:
    with open("filler", "wb") as f:  # most of it at once: to ask what is free walks through it all
        for _ in range(s[3] - 32 - LEAVE // s[0]):
            f.write(bytes(s[0]))
    while True:
        s = os.statvfs(".")
        if s[0] * s[3] < LEAVE:
            break
        with open("filler%d" % n, "wb") as f:
            f.write(bytes(4000))
        n += 1
except OSError:
    pass
import board_local
while True:
    board_local.idle(None)
"""


def test_a_full_flash_stops_the_log_not_the_class(tmp_path):
    data = timeline(lambda: [lead_in(5_000)] + [window(60_000) for _ in range(4)])
    (tmp_path / "filler" / "boards").mkdir(parents=True)
    (tmp_path / "filler" / "boards" / "pico.py").write_text("", encoding="utf-8")
    (tmp_path / "filler" / "main.py").write_text(
        FILLER.replace("LEAVE", str(2 * 4096)), encoding="utf-8"
    )
    with Rig(tmp_path) as rig:
        rig.send([data])
        rig.box.cut_power()
        rig.box.spec.firmware = tmp_path / "filler"
        rig.box.power_up()
        rig.world.run_for(100_000_000)
        rig.box.cut_power()
        rig.box.spec.firmware = None
        rig.box.power_up()
        with pytest.raises(HandbellError, match="no room"):
            rig.send([data])
            rig.arm([data])
        # by hand it still runs, and says so
        at = rig.world.now_us() + 5_000_000
        rig.box.unplug()
        start_by_hand(rig.box, at)
        for n in range(900):
            for slot in (0, 1):
                rig.box.press(slot, at + 45_000_000 + n * 260_000 + slot * 130_000)
        rig.world.run_to(at + 420_000_000)
        assert len(rig.box.sound.bells()) > 8
        rig.box.plug_in()
        status = rig.ask("status")
        assert status["fault"] == faults.STORAGE_FULL and status["state"] == "ready"
        kept = [of_kind(run, journal.TAP) for run in rig.runs()]
        assert 500 < len(kept[0]) < 1_790
        (run,) = rig.runs()
        notes = [struct.unpack("<HHi", note[4][:8]) for note in of_kind(run, journal.NOTE)]
        assert [fault for fault, _, lost in notes if lost > 0] == [faults.STORAGE_FULL]
        assert of_kind(run, journal.END)


def test_a_tap_at_rest_leads_through_the_plans_to_the_health_page_and_back(tmp_path):
    plans = [timeline(three_windows), timeline(lambda: three_windows()[:2])]
    with Rig(tmp_path) as rig:
        for data in plans:
            rig.send([data])
        rig.world.run_for(10_000_000)
        pages = []
        for _ in range(5):
            rig.box.press(0)
            rig.world.run_for(2_000_000)
            pages.append((rig.ask("status")["sel"], rig.box.screen.pixels()))
        first, second = (digest(data) for data in plans)
        assert [sel for sel, _ in pages] == [second, first, second, second, first]
        health, plan = pages[0][1], pages[1][1]
        assert pages[3][1] == health and plan not in (health, bytes(len(plan)))


def test_a_megabyte_of_noise_in_class_moves_no_cue_and_loses_no_tap(tmp_path):
    data = timeline(three_windows)
    rng = random.Random(5)
    noise = rng.randbytes(200_000) + b"q" * 800_000 + bytes(range(32)) * 2_000
    with Rig(tmp_path) as rig:
        rig.send([data])
        start = rig.arm([data], in_s=4)
        for n in range(6):
            rig.box.press(0, start + 6_000_000 + n * 500_000)
        with rig.connect() as connection:
            port = connection._port
            for at in range(0, len(noise), 2_000):
                port.write(noise[at : at + 2_000])
                port.reset_input_buffer()
            while rig.world.now_us() < start + 9_500_000:
                port.write(b"\x03\x04\x01 half a line")
                time.sleep(0.02)
        rig.world.run_to(start + 120_000_000)
        (run,) = rig.runs()
        assert reps(run)[7, 1] == 6
        end = struct.unpack("<BBHII", of_kind(run, journal.END)[0][4])
        assert end[2] == 0, "late cues"
        first = min(bell - start for bell in rig.box.sound.bells() if bell > start - 1_000)
        assert abs(first) < 5_000


def test_where_bibs_do_different_things_each_is_named_in_turn(tmp_path):
    def name_line(rig, at_us):
        rig.world.run_to(at_us)
        pixels = rig.box.screen.pixels()
        return [bool(lit) for lit in pixels[43 * 128 : 53 * 128]]

    def two_tasks():
        return [lead_in(5_000), own(window(30_000, ask=ASK_TARGET, goal=9), 1, goal=4, name=1)]

    same, differ = timeline(lambda: [lead_in(5_000), window(30_000)]), timeline(two_tasks)
    seen = {}
    for words, data in (("same", same), ("differ", differ)):
        with Rig(tmp_path / words) as rig:
            rig.send([data])
            start = rig.arm([data])
            seen[words] = [name_line(rig, start + s * 1_000_000) for s in (7, 10, 13)]
    assert seen["same"][0] == seen["same"][1] == seen["same"][2]
    assert seen["differ"][0] == seen["differ"][2] != seen["differ"][1]
