"""Presses at rest: only a whole tap turns a page, and none while a cut class may be joined."""

import struct

import pytest
from troubled import two_windows

from handbell_core import journal
from made import lead_in, rest, window
from rig import Rig, digest, of_kind, reps, timeline

pytestmark = pytest.mark.usefixtures("micropython")


def long_windows():
    return [lead_in(5_000), window(60_000), rest(5_000), window(20_000)]


def two_plans(rig):
    """Two plans on the box, the first one selected; return both."""
    one, two = timeline(long_windows), timeline(two_windows)
    rig.send([two])
    rig.send([one])
    rig.world.run_for(30_000_000)
    return one, two


@pytest.mark.parametrize("tap_ms", [300, 800, 1_300, 2_000])
def test_a_tap_just_after_the_power_is_back_leaves_the_box_in_its_class(tmp_path, tap_ms):
    with Rig(tmp_path, rtc=True) as rig:
        one, _ = two_plans(rig)
        start = rig.arm([one])
        rig.world.run_to(start + 20_000_000)
        rig.box.cut_power()
        rig.world.run_for(1_000_000)
        rig.box.power_up()
        rig.box.press(0, rig.world.now_us() + tap_ms * 1_000)
        rig.world.run_for(8_000_000)
        status = rig.ask("status")
        assert (status["state"], status["sel"]) == ("play", digest(one))


def test_who_goes_on_tapping_through_a_power_failure_loses_no_more_than_its_time(tmp_path):
    with Rig(tmp_path, rtc=True) as rig:
        one, _ = two_plans(rig)
        start = rig.arm([one])
        for n in range(40):
            rig.box.press(0, start + 6_000_000 + n * 1_000_000)
        rig.world.run_to(start + 20_000_000)
        rig.box.cut_power()
        rig.world.run_for(1_000_000)
        rig.box.power_up()
        rig.world.run_to(start + 220_000_000)
        (run,) = rig.runs()
    assert 30 <= reps(run)[7, 1] <= 40 and of_kind(run, journal.END)


def test_an_armed_start_outlives_a_power_failure_and_a_tap(tmp_path):
    with Rig(tmp_path, rtc=True) as rig:
        one, _ = two_plans(rig)
        start = rig.arm([one], in_s=120)
        rig.world.run_for(5_000_000)
        rig.box.cut_power()
        rig.world.run_for(1_000_000)
        rig.box.power_up()
        rig.box.press(0, rig.world.now_us() + 800_000)
        rig.world.run_to(start + 8_000_000)
        assert rig.ask("status")["state"] == "play"


def test_a_host_that_selects_another_plan_ends_what_was_cut(tmp_path):
    with Rig(tmp_path, rtc=True) as rig:
        one, two = two_plans(rig)
        start = rig.arm([one])
        rig.world.run_to(start + 20_000_000)
        rig.box.cut_power()
        rig.world.run_for(1_000_000)
        rig.box.power_up()
        rig.world.run_for(300_000)
        rig.ask("select", d=digest(two))
        rig.world.run_for(10_000_000)
        status = rig.ask("status")
        assert (status["state"], status["sel"]) == ("ready", digest(two))


def test_a_long_press_let_go_late_turns_no_page(tmp_path):
    with Rig(tmp_path, buttons=2) as rig:
        two_plans(rig)
        before = rig.ask("status")["sel"]
        at = rig.world.now_us() + 1_000_000
        rig.box.press(0, at, hold_ms=3_000)
        rig.box.press(1, at, hold_ms=12_000)
        rig.world.run_for(30_000_000)
        assert rig.ask("status")["sel"] == before


def test_a_button_down_while_a_plan_comes_turns_no_page_when_it_is_let_go(tmp_path):
    with Rig(tmp_path, buttons=2) as rig:
        one, _ = two_plans(rig)
        at = rig.world.now_us() + 1_000_000
        rig.box.press(0, at, hold_ms=1_400)
        rig.world.run_to(at + 500_000)
        rig.ask("select", d=digest(one))
        rig.world.run_for(10_000_000)
        assert rig.ask("status")["sel"] == digest(one)


def test_a_tap_beside_a_hold_turns_no_page(tmp_path):
    with Rig(tmp_path, buttons=2) as rig:
        two_plans(rig)
        before = rig.ask("status")["sel"]
        at = rig.world.now_us() + 1_000_000
        rig.box.press(0, at, hold_ms=4_000)
        rig.box.press(1, at + 700_000, hold_ms=100)
        rig.world.run_for(30_000_000)
        assert rig.ask("status")["sel"] == before


def test_a_start_set_less_than_three_seconds_ahead_counts_no_bell_as_late(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path) as rig:
        rig.send([data])
        utc_ms = rig.world.clock.utc_us() // 1_000 + 2_200
        rig.ask("arm", d=digest(data), utc_ms=utc_ms)
        rig.world.run_for(130_000_000)
        (run,) = rig.runs()
    assert struct.unpack("<BBHII", of_kind(run, journal.END)[0][4])[2] == 0
