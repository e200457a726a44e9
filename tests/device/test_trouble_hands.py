"""Hands and hosts at a box at the wrong moment: starts, ends, pages, plans."""

import pytest
from troubled import assert_rang, troubled, two_windows

from handbell.base.errors import HandbellError
from handbell_core import journal
from made import lead_in, window
from rig import Rig, digest, of_kind, reps, start_by_hand, timeline

pytestmark = pytest.mark.usefixtures("micropython")


def test_an_arming_that_fails_halfway_leaves_no_start(tmp_path):
    trouble = """
        from box.storage import Storage
        whole = Storage.save
        def save(self, **changes):
            if changes.get("start_ms", 0) != self.settings["start_ms"]:
                raise OSError(28)
            whole(self, **changes)
        Storage.save = save
    """
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        with pytest.raises(HandbellError):
            rig.arm([data])
        assert rig.ask("status")["state"] == "ready"
        rig.world.run_for(60_000_000)
        assert rig.ask("status")["state"] != "play"


def test_two_buttons_held_in_the_same_moment_start_a_class_with_a_log(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path) as rig:
        rig.send([data])
        at = rig.world.now_us() + 5_000_000
        for slot in (0, 1):
            start_by_hand(rig.box, at, slot)
        rig.world.run_to(at + 10_000_000)
        assert rig.ask("status")["state"] in ("set", "play")
        rig.world.run_to(at + 200_000_000)
        (run,) = rig.runs()
    assert of_kind(run, journal.END)


def test_the_last_rep_reaches_the_log_when_no_rating_follows(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.box.press(0, start + 54_900_000, hold_ms=300)
        rig.world.run_to(start + 120_000_000)
        (run,) = rig.runs()
    assert reps(run)[7, 2] == 1


def test_an_arming_after_a_start_by_hand_goes_by_the_clock_just_set(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path, ppm=40) as rig:
        rig.send([data])
        rig.box.unplug()
        rig.world.run_for(3_600_000_000)
        at = rig.world.now_us() + 4_000_000
        start_by_hand(rig.box, at)
        rig.world.run_to(at + 2_500_000)
        rig.box.plug_in()
        start = rig.arm([data], in_s=60)  # sets the clock, which was 144 ms off by then
        rig.world.run_to(start + 120_000_000)
        assert_rang(rig, start)
        assert len(rig.runs()) == 2  # the start by hand was taken back, and has its own log


def test_an_arming_without_a_clock_is_refused_for_that_reason(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path) as rig:
        rig.send([data])
        rig.box.cut_power()
        rig.box.power_up()
        at = rig.world.now_us() + 4_000_000
        start_by_hand(rig.box, at)
        rig.world.run_to(at + 2_500_000)
        start = rig.arm([data], in_s=60)
        rig.world.run_to(start + 120_000_000)
        assert_rang(rig, start)


@pytest.mark.parametrize("damaged", [0, 1, 2])
def test_a_damaged_plan_is_paged_past(tmp_path, damaged):
    plans = [timeline(lambda n=n: [lead_in(5_000), window(10_000 + n)]) for n in range(3)]
    trouble = f"""
        from box.storage import Storage
        whole = Storage.open_timeline
        def open_timeline(self, wanted):
            if wanted == "{digest(plans[damaged])}":
                raise OSError(5)
            return whole(self, wanted)
        import os
        if "started" in os.listdir():
            Storage.open_timeline = open_timeline
        open("started", "a").close()
    """
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        for data in plans:
            rig.send([data])
        rig.box.cut_power()
        rig.box.power_up()
        selected = []
        for _ in range(6):
            rig.world.run_for(1_000_000)
            rig.box.press(0, rig.world.now_us() + 100_000)
            rig.world.run_for(1_000_000)
            selected.append(rig.ask("status")["sel"])
    assert set(selected) == {digest(data) for n, data in enumerate(plans) if n != damaged}


def test_late_taps_leave_the_end_screen_and_the_plan_alone(tmp_path):
    one, two = timeline(two_windows), timeline(lambda: two_windows()[:2])
    with Rig(tmp_path) as rig:
        rig.send([one])
        rig.send([two])
        start = rig.arm([two])
        for at_s in (24.9, 25.6, 26.0, 26.5):  # it ends at 25 s
            rig.box.press(0, start + int(at_s * 1e6), hold_ms=300)
        rig.world.run_to(start + 28_000_000)
        status = rig.ask("status")
        assert (status["state"], status["sel"]) == ("over", digest(two))
        rig.box.press(0, start + 30_000_000)
        rig.world.run_to(start + 31_000_000)
        status = rig.ask("status")
        assert (status["state"], status["sel"]) == ("ready", digest(two))


@pytest.mark.parametrize("release_ms", range(20, 70, 5))
def test_a_class_ends_whenever_its_last_button_is_let_go(tmp_path, release_ms):
    data = timeline(lambda: two_windows()[:2])
    with Rig(tmp_path) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.box.press(0, start + 24_900_000, hold_ms=100 + release_ms)
        rig.world.run_to(start + 40_000_000)
        (run,) = rig.runs()
    assert of_kind(run, journal.END) and reps(run)[7, 1] == 1


def test_no_start_is_set_on_a_class_that_is_over_and_can_t_be_read_again(tmp_path):
    trouble = """
        from box.session import Session
        whole = Session.select
        def select(self, *a):
            return not (self.runner and self.runner.index > 0) and whole(self, *a)
        Session.select = select
    """
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.world.run_to(start + 57_000_000)
        assert rig.ask("status")["state"] == "over"
        with pytest.raises(HandbellError):
            rig.arm([data])
        assert rig.ask("status")["state"] == "over"
