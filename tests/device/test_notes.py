"""What a box notes in its own journal, and what the report makes of it: real firmware throughout."""

import struct

import pytest
from troubled import play, troubled, two_windows

from handbell.boxes.classes.collect import collect
from handbell.report import class_report
from handbell.store import open_store
from handbell_core import faults, journal
from made import lead_in, rest, window
from rig import Rig, of_kind, start_by_hand, timeline

pytestmark = pytest.mark.usefixtures("micropython")


def notes(run):
    """Return (class_ms, fault, value) of each note."""
    return [(rec[3], *struct.unpack("<HxxI", rec[4][:8])) for rec in of_kind(run, journal.NOTE)]


def reported(rig, tmp_path):
    """Collect what the box holds and return the report's sentences on what is odd."""
    with rig.fleet() as fleet, open_store(str(tmp_path / "s.sqlite")) as store:
        collect(fleet, store)
        return class_report(store).odd


def long_class():
    pairs = [(window(20_000), rest(10_000)) for _ in range(6)]
    return [lead_in(5_000), *(made for pair in pairs for made in pair)]


def test_a_battery_that_is_low_at_a_start_by_hand_is_told_and_refuses_nothing(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path, battery_mv=3_450) as rig:
        rig.send([data])
        assert rig.ask("status")["low"] is True
        at = rig.world.now_us() + 5_000_000
        start_by_hand(rig.box, at, hold_ms=1_600)
        rig.world.run_to(at + 50_000_000)
        assert rig.ask("status")["state"] == "play"
        rig.world.run_to(at + 190_000_000)
        (run,) = rig.runs()
        ((class_ms, fault, mv),) = notes(run)
        assert (class_ms, fault) == (0, faults.BATTERY_WARNING) and abs(mv - 3_450) < 5
        said = (
            f"Station 1: the battery was low ({mv / 1000:.2f} V); charge it before the next class."
        )
        assert said in reported(rig, tmp_path)


def test_a_battery_that_ends_in_class_has_told_it_before(tmp_path):
    data = timeline(long_class)
    with Rig(tmp_path) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.world.run_to(start + 20_000_000)
        rig.box.battery_mv = 3_300
        rig.world.run_to(start + 120_000_000)
        rig.box.cut_power()
        rig.box.battery_mv = 4_100
        rig.box.power_up()
        (run,) = rig.runs()
        assert not of_kind(run, journal.END)
        ((class_ms, fault, mv),) = notes(run)
        assert fault == faults.BATTERY_WARNING
        # Smoothed every 10 s; told with the next bell, since then the time is worked out anyway.
        assert 30_000 <= class_ms <= 100_000 and 3_300 <= mv < 3_600
        odd = reported(rig, tmp_path)
        assert any(f"the battery was low ({mv / 1000:.2f} V)" in words for words in odd)


LATE = """
    from box.sound import Sound
    from handbell_core.cues import GO, EASE, CLOSE
    from handbell_core.ticks import ticks_add
    whole = Sound.play
    late = {GO: 6_000, EASE: 11_000, CLOSE: 30_000}
    def play(self, cue, tick):
        return ticks_add(whole(self, cue, tick), late.get(cue, 0))
    Sound.play = play
"""


def test_late_bells_are_told_as_they_come_and_once_in_the_report(tmp_path):
    rig, _ = play(tmp_path, LATE)
    with rig:
        (run,) = rig.runs()
        told = [
            (class_ms, value) for class_ms, fault, value in notes(run) if fault == faults.LATE_CUE
        ]
        # Of GO 6 ms, EASE 11, GO 6, CLOSE 30: the first, and what is more than twice as late.
        assert [class_ms // 1000 for class_ms, _ in told] == [5, 55]
        assert [round(value / 1000) for _, value in told] == [6, 30]
        late = [words for words in reported(rig, tmp_path) if "late" in words]
    assert late == ["Station 1: 4 bells came late, the worst by 30 ms."]


def test_late_bells_of_a_run_without_an_end_are_told_by_the_worst(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, LATE.replace("11_000", "20_000"))) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.world.run_to(start + 33_000_000)
        rig.box.cut_power()
        rig.box.power_up()
        late = [words for words in reported(rig, tmp_path) if "late" in words]
    assert late == ["Station 1: a bell came 20 ms late."]


FAILS = """
    import box.log
    calls = []
    def opened(path, mode):
        calls.append(1)
        if len(calls) in {failing}:
            raise OSError(5)
        return open(path, mode)
    box.log.open = opened
"""


def test_a_flash_that_fails_for_a_while_is_told_though_nothing_is_lost(tmp_path):
    rig, _ = play(tmp_path, FAILS.format(failing="range(3, 8)"))
    with rig:
        (run,) = rig.runs()
        assert [(fault, value) for _, fault, value in notes(run)] == [(faults.FLASH_ERROR, 0)]
        odd = reported(rig, tmp_path)
        with open_store(str(tmp_path / "s.sqlite")) as store:
            assert [box.log for box in class_report(store).boxes] == ["whole"]
    said = (
        "Station 1: the memory for logs failed for a while, but nothing is lost; use another box."
    )
    assert said in odd
