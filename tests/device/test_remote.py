"""A remote and its boxes: the real firmware on each, and the air between."""

import pytest
from remote_hall import KEY, Hall, S, assert_together

from handbell_core.agreement import STANDS
from handbell_core.lead import GO_ON, NEXT, PAUSE, STOP
from rig import digest


@pytest.fixture
def hall(tmp_path):
    hall = Hall(tmp_path, 3)
    with hall.rig:
        hall.load()
        yield hall


def test_a_class_is_paused_goes_on_passes_a_gate_and_is_stopped(hall):
    hall.arm()
    hall.works(PAUSE, hall.at(12_000))
    hall.run_to(hall.at(14_000))
    assert hall.states() == ["gate"] * 3
    hall.holds(GO_ON, hall.at(20_000))
    hall.run_to(hall.at(33_000))
    assert hall.states() == ["play"] * 3
    hall.boxes[0].plug_in()
    told_ms = hall.rig.ask("status", hall.boxes[0])["class_ms"]
    hall.boxes[0].unplug()
    assert 13_550 < told_ms < 14_300  # it stood at 12.4 s until 31.7 s
    hall.run_to(hall.at(80_000))  # it stands at its gate by itself
    assert hall.states() == ["gate"] * 3
    hall.holds(GO_ON, hall.at(82_000))
    hall.run_to(hall.at(95_000))
    assert hall.states() == ["play"] * 3
    hall.holds(STOP, hall.at(95_000))
    hall.holds(STOP, hall.at(98_000))
    hall.run_to(hall.at(106_000))
    assert hall.states() == ["over"] * 3
    assert_together(hall.bells_after(hall.at(13_000)), 12)


def test_it_begins_on_the_remotes_word_and_leaves_a_block_out(hall):
    hall.arm(at_start=False)
    hall.run_to(hall.at(30_000))
    assert hall.states() == ["awaits"] * 3
    hall.holds(GO_ON, hall.at(30_000))
    hall.run_to(hall.at(50_000))
    assert hall.states() == ["play"] * 3
    assert_together(hall.bells_after(hall.at(31_000)), 2)
    hall.holds(NEXT, hall.at(50_000))  # there is one block only: nothing comes of it
    hall.run_to(hall.at(54_000))
    assert len({t.data[2] for t in hall.remote.telegrams}) == 2


def test_who_missed_two_acts_catches_up(hall):
    hall.arm()
    hall.deaf = hall.boxes[1:2]
    hall.works(PAUSE, hall.at(8_000))
    hall.holds(GO_ON, hall.at(14_000))
    hall.run_to(hall.at(29_000))
    hall.deaf = []
    hall.run_to(hall.at(66_000))
    assert_together(hall.bells_after(hall.at(50_000)), 2)
    hall.boxes[1].plug_in()
    assert hall.states() == ["play"] * 3 or hall.states() == ["gate"] * 3
    assert not any(box.telegrams for box in hall.boxes)  # which have no diode


def test_a_remote_that_lost_its_power_leads_on_with_a_clock_part(tmp_path):
    hall = Hall(tmp_path, 2, rtc=True)
    with hall.rig:
        hall.load()
        hall.world.run_for(8 * S)  # the part is set and held against the clock
        hall.start_us = hall.rig.arm(hall.data[:-1], 10)
        hall.arm()
        hall.works(PAUSE, hall.at(9_000))
        hall.run_to(hall.at(14_000))
        hall.remote.cut_power()
        hall.run_to(hall.at(20_000))
        hall.remote.power_up()
        hall.run_to(hall.at(30_000))
        before = {t.data[2] for t in hall.remote.telegrams if t.world_us < hall.at(20_000)}
        after = {t.data[2] for t in hall.remote.telegrams if t.world_us > hall.at(20_000)}
        assert after == {max(before)}  # who heard a newer one keeps to it
        hall.holds(GO_ON, hall.at(30_000))
        hall.run_to(hall.at(33_000))
        assert hall.remote.telegrams[-1].data[4] == STANDS  # it asks: they may have gone on alone
        hall.holds(GO_ON, hall.at(33_000))
        hall.run_to(hall.at(48_000))
        assert hall.states() == ["play"] * 2
        assert_together(hall.bells_after(hall.at(31_000)), 2)
        assert hall.remote.telegrams[-1].data[2] > max(before) + 1


@pytest.mark.parametrize("cut_ms", [700, 2_500])
def test_a_pause_stays_one_whenever_the_remote_loses_its_power(tmp_path, cut_ms):
    hall = Hall(tmp_path, 1, rtc=True)
    with hall.rig:
        hall.load()
        hall.world.run_for(8 * S)
        hall.start_us = hall.rig.arm(hall.data[:-1], 10)
        hall.arm()
        hall.works(PAUSE, hall.at(9_000))
        hall.run_to(hall.at(9_000 + cut_ms))
        hall.remote.cut_power()
        hall.run_to(hall.world.now_us() + S)
        hall.remote.power_up()
        hall.run_to(hall.at(20_000))
        assert hall.states() == ["gate"]
        hall.works(PAUSE, hall.at(20_000))  # the next word of a hand outnumbers what was said
        hall.run_to(hall.at(22_000))
        for at_ms in (22_000, 25_000):  # one that thinks that it stands asks once more
            hall.holds(GO_ON, hall.at(at_ms))
            hall.run_to(hall.at(at_ms + 2_500))
        hall.run_to(hall.at(38_000))
        assert hall.states() == ["play"]


def test_a_remote_that_was_off_as_its_word_came_into_force_plays_by_it(tmp_path):
    hall = Hall(tmp_path, 1, rtc=True)
    with hall.rig:
        hall.load()
        hall.world.run_for(8 * S)
        hall.start_us = hall.rig.arm(hall.data[:-1], 10)
        hall.arm()
        hall.works(PAUSE, hall.at(9_000))
        hall.holds(GO_ON, hall.at(12_000))
        hall.run_to(hall.at(18_000))  # it comes into force at 23.5 s
        hall.remote.cut_power()
        hall.run_to(hall.at(26_000))
        hall.remote.power_up()
        hall.run_to(hall.at(33_000))
        both = []
        for box in (hall.boxes[0], hall.remote):
            box.plug_in()
            both.append(hall.rig.ask("status", box)["class_ms"])
            box.unplug()
        assert 17_000 < both[0] < 20_500 and abs(both[1] - both[0]) < 1_000


def test_a_button_that_is_down_as_a_class_ends_means_nothing_in_the_next(hall):
    hall.arm(at_start=False)
    hall.holds(GO_ON, hall.at(0))
    hall.run_to(hall.at(16_000))
    hall.holds(STOP, hall.at(16_000))
    hall.holds(STOP, hall.at(19_000))
    hall.run_to(hall.at(20_400))
    hall.remote.press(GO_ON, hold_ms=8_000)
    hall.run_to(hall.at(31_000))
    hall.remote.plug_in()
    hall.rig.ask("arm", hall.remote, d=digest(hall.data[-1]), utc_ms=0, key=KEY.hex())
    hall.world.run_for(20 * S)
    assert hall.rig.ask("status", hall.remote)["state"] == "awaits"


def test_a_remote_at_rest_starts_nothing_and_turns_its_pages(hall):
    hall.rig.ask("disarm", hall.remote)
    for _ in range(2):
        hall.remote.press(GO_ON, hold_ms=2_000)
        hall.world.run_for(3 * S)
    assert hall.rig.ask("status", hall.remote)["state"] == "ready"
    assert hall.rig.ask("hello", hall.remote)["remote"] == 1
    assert hall.rig.ask("hello", hall.boxes[0])["hears"] == 1
