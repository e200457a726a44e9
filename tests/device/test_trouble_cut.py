"""A box with a clock part that lost power: what it finds again, and what it goes on with."""

import pytest
from troubled import troubled, two_windows

from handbell_core import journal
from handbell_core.timeline import GATE
from made import lead_in, rest, span, window
from rig import Rig, of_kind, reps, timeline

pytestmark = pytest.mark.usefixtures("micropython")

LONG_WINDOWS = ((5.5, 5_200), (11.0, 1_700))  # the door, and the choices behind it


@pytest.mark.parametrize("failing", ["Rtc.read_s", "Storage.save"])
def test_one_failure_of_the_clock_part_costs_no_later_joining(tmp_path, failing):
    trouble = f"""
        from box.rtc import Rtc
        from box.storage import Storage
        import os
        whole = {failing}
        done = ["started"] if "started" in os.listdir() else []
        open("started", "a").close()
        def once(self, **changes):
            if not done and ({failing.startswith("Rtc")} or "rtc_s" in changes):
                done.append(1)
                raise OSError(5)
            return whole(self, **changes)
        {failing} = once
    """
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        rig.world.run_for(40_000_000)
        start = rig.arm([data])
        rig.box.unplug()
        rig.world.run_to(start + 12_000_000)
        rig.box.cut_power()
        rig.world.run_to(start + 16_000_000)
        rig.box.power_up()
        rig.world.run_to(start + 20_000_000)
        rig.box.plug_in()
        assert rig.ask("status")["state"] == "play"


def test_a_window_cut_by_power_gets_its_result_when_the_box_joins_again(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True) as rig:
        rig.send([data])
        rig.world.run_for(10_000_000)
        start = rig.arm([data])
        rig.box.unplug()
        for at_s in (6, 7, 8, 9, 10, 40, 41):
            rig.box.press(0, start + at_s * 1_000_000)
        rig.world.run_to(start + 24_000_000)
        rig.box.cut_power()
        rig.world.run_to(start + 27_000_000)
        rig.box.power_up()
        rig.world.run_to(start + 120_000_000)
        rig.box.plug_in()
        (run,) = rig.runs()
    assert reps(run) == {(7, 1): 5, (8, 1): 0, (7, 2): 2, (8, 2): 0}


def cut_and_back(rig, data, cut_s, back_s, presses):
    """Play on a box with a clock part that is cut off and comes back; return the start."""
    rig.send([data])
    rig.world.run_for(10_000_000)
    start = rig.arm([data])
    rig.box.unplug()
    for at_s, hold_ms in presses:
        rig.box.press(0, start + int(at_s * 1e6), hold_ms=hold_ms)
    rig.world.run_to(start + int(cut_s * 1e6))
    rig.box.cut_power()
    rig.world.run_to(start + int(back_s * 1e6))
    rig.box.power_up()
    return start


def test_who_chose_to_wait_waits_there_after_a_power_failure_too(tmp_path):
    data = timeline(lambda: [lead_in(5_000), window(20_000), window(20_000), window(20_000)])
    taps = ((13.5, 100), (14.0, 100))
    with Rig(tmp_path, rtc=True) as rig:
        start = cut_and_back(rig, data, 20, 30, (*LONG_WINDOWS, *taps, (14.6, 1_700)))
        rig.world.run_to(start + 40_000_000)
        rig.box.plug_in()
        assert rig.ask("status")["state"] == "gate"


def test_a_window_that_was_left_out_stays_so_after_a_power_failure(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True) as rig:
        presses = (*LONG_WINDOWS, (13.5, 100), (14.2, 1_700))
        start = cut_and_back(rig, data, 22, 27, presses)
        rig.world.run_to(start + 120_000_000)
        rig.box.plug_in()
        (run,) = rig.runs()
    flags = [rec[4][10] for rec in of_kind(run, journal.RESULT) if rec[2] == 1]
    assert flags and all(flag & journal.RES_SKIPPED for flag in flags)


@pytest.mark.parametrize("times", [1, 2, 5])
def test_a_tail_that_can_t_be_joined_at_the_start_is_written_over_by_nobody(tmp_path, times):
    trouble = f"""
        import os
        import box.storage
        fails = []
        def opened(path, mode="r"):
            has_tail = path[:-4].split("/")[-1] + ".tail" in os.listdir("runs")
            if "cut" in os.listdir() and mode == "ab" and path.endswith(".hbj") and has_tail:
                fails.append(1)
                if len(fails) <= {times}:
                    raise OSError(5)
            return open(path, mode)
        box.storage.open = opened
        from box.requests import TABLE
        TABLE["mark"] = lambda self, message: open("cut", "w").close()
    """
    data = timeline(lambda: [lead_in(5_000), window(40_000), rest(10_000), window(20_000)])
    presses = [(6 + 0.6 * n, 100) for n in range(30)] + [(32 + n, 100) for n in range(5)]
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        rig.ask("mark")
        rig.box.cut_power()
        rig.box.power_up()
        start = cut_and_back(rig, data, 24, 27, presses)
        rig.world.run_to(start + 120_000_000)
        rig.box.plug_in()
        (run,) = rig.runs()
    taps = [rec[3] for rec in of_kind(run, journal.TAP)]
    assert len([at_ms for at_ms in taps if at_ms < 22_000]) == 27  # whatever came after
    if times < 5:
        assert len(taps) == 35  # the box went on with its class


@pytest.mark.parametrize("off_s,state", [(600, "gate"), (20 * 3_600, "ready")])
def test_a_gate_is_waited_at_again_for_an_hour_and_no_longer(tmp_path, off_s, state):
    data = timeline(lambda: [lead_in(5_000), window(20_000), span(GATE, 0), window(20_000)])
    with Rig(tmp_path, rtc=True) as rig:
        rig.send([data])
        rig.world.run_for(10_000_000)
        start = rig.arm([data])
        rig.world.run_to(start + 40_000_000)
        assert rig.ask("status")["state"] == "gate"
        rig.box.cut_power()
        rig.world.run_for(off_s * 1_000_000)
        rig.box.power_up()
        rig.world.run_for(10_000_000)
        assert rig.ask("status")["state"] == state
