"""Something of a box fails, once or for good: the class goes on, and the box answers its host."""

import binascii
import struct

import pytest
from troubled import assert_rang, play, troubled, two_windows

from handbell.base.errors import HandbellError
from handbell_core import faults, journal
from made import lead_in, window
from rig import Rig, digest, of_kind, reps, timeline

pytestmark = pytest.mark.usefixtures("micropython")


def test_a_read_that_fails_at_a_rest_s_end_costs_no_later_bell_and_no_answer(tmp_path):
    trouble = """
        import time
        from handbell_core.timeline import Reader
        whole = Reader.span
        seen = []
        def span(self, index, into):
            if index >= 2 and "from" not in seen:
                seen.append("from")
                seen.append(time.ticks_ms())
            # When the rest begins, 20 s after that, and again when it ends.
            since_ms = time.ticks_ms() - seen[1] if seen else 0
            if index == 3 and (since_ms < 22_000 or 29_000 < since_ms < 32_000):
                raise OSError(5)
            return whole(self, index, into)
        Reader.span = span
    """
    rig, start = play(tmp_path, trouble)
    with rig:
        assert_rang(rig, start)
        status = rig.ask("status")
        assert status["fault"] == 0  # it goes on,
        assert status["erred"].endswith(", run: OSError: [Errno 5] EIO")  # and tells what was
        (run,) = rig.runs()
    assert reps(run) == {(7, 1): 3, (8, 1): 0, (7, 2): 2, (8, 2): 0}
    notes = {struct.unpack("<H", rec[4][:2])[0] for rec in of_kind(run, journal.NOTE)}
    assert faults.FIRMWARE in notes


def test_a_bell_that_fails_stops_neither_the_class_nor_the_count(tmp_path):
    trouble = """
        from box.sound import Sound
        def play(self, cue, tick):
            raise OSError(5)
        Sound.play = play
    """
    rig, _ = play(tmp_path, trouble)
    with rig:
        assert rig.ask("hello")["boot"] >= 1
        (run,) = rig.runs()
    assert reps(run) == {(7, 1): 3, (8, 1): 0, (7, 2): 2, (8, 2): 0}
    assert of_kind(run, journal.END)


def test_a_sounder_that_fails_keeps_no_tap_from_the_flash_and_the_host_from_no_answer(tmp_path):
    trouble = """
        from machine import PWM
        whole = PWM.duty_u16
        started = []
        def duty_u16(self, duty):
            if duty and started:
                raise OSError(5)
            whole(self, duty)
        from box.session import Session
        begin = Session.arm
        def arm(self, start_ms):
            started.append(1)
            begin(self, start_ms)
        Session.arm = arm
        PWM.duty_u16 = duty_u16
    """
    rig, _ = play(tmp_path, trouble)
    with rig:
        assert rig.ask("status")["erred"].endswith(", sound: OSError: [Errno 5] EIO")
        (run,) = rig.runs()
    assert reps(run) == {(7, 1): 3, (8, 1): 0, (7, 2): 2, (8, 2): 0}


def test_a_screen_that_can_t_be_drawn_keeps_no_tap_from_the_flash(tmp_path):
    trouble = """
        from box.screens import Screens
        def show(self, runner, run_ms, facts):
            raise ValueError
        Screens.show = show
    """
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        start = rig.arm([data])
        for n in range(8):
            rig.box.press(0, start + 6_000_000 + n * 1_000_000)
        rig.world.run_to(start + 20_000_000)
        rig.box.cut_power()
        rig.box.power_up()
        (run,) = rig.runs()
    assert len(of_kind(run, journal.TAP)) == 8


def test_a_strip_that_fails_at_the_cue_keeps_no_class_from_going_on(tmp_path):
    trouble = """
        from box.view import View
        def fails(self, cue_ms):
            raise OSError(5)
        View.open = fails
    """
    rig, start = play(tmp_path, trouble)
    with rig:
        assert_rang(rig, start)
        (run,) = rig.runs()
    assert reps(run) == {(7, 1): 3, (8, 1): 0, (7, 2): 2, (8, 2): 0}


def test_errors_without_end_leave_an_idle_box_that_answers(tmp_path):
    trouble = """
        from box.view import View
        def draw(self, tick):
            raise MemoryError
        View.draw = draw
    """
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.world.run_for(60_000_000)
        status = rig.ask("status")
        assert status["state"] == "empty" and status["fault"] == faults.FIRMWARE


def test_a_clock_part_that_stops_answering_stops_no_box(tmp_path):
    trouble = """
        import os
        from box import rtc
        from box.requests import TABLE
        def fails(self, *_):
            tries.append(1)
            raise OSError(110)
        tries = []
        TABLE["tries"] = lambda self, message: {"tries": len(tries)}
        if "started" in os.listdir():
            rtc.Rtc.read_s = rtc.Rtc.write = fails
        open("started", "a").close()
    """
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        data = timeline(two_windows)
        rig.send([data])
        rig.world.run_for(40_000_000)
        rig.box.cut_power()
        rig.box.power_up()
        rig.world.run_for(120_000_000)
        assert rig.ask("status")["state"] == "ready"
        assert 1 <= rig.ask("tries")["tries"] <= 14  # each may hold the box up: one in 10 s


def test_a_request_that_fails_is_answered(tmp_path):
    trouble = """
        from box.storage import Storage
        def fails(self):
            raise MemoryError
        Storage.runs = fails
    """
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        with pytest.raises(HandbellError):
            rig.ask("list", of="runs", i=0)
        assert rig.ask("hello")["id"]


def test_a_class_that_is_stuck_for_good_is_ended_by_the_watchdog(tmp_path):
    trouble = """
        from handbell_core.runner import Runner
        whole = Runner.step
        def step(self, run_ms):
            if self.index == 1 and self.cue_ms() <= run_ms:
                raise ValueError
            return whole(self, run_ms)
        Runner.step = step
    """
    rig, _ = play(tmp_path, trouble)
    with rig:
        status = rig.ask("status")
        assert status["state"] == "ready"  # it began anew, without a clock part, and says so
        assert rig.ask("hello")["boot"] == 2
        (run,) = rig.runs()
    assert len(of_kind(run, journal.TAP)) == 3


@pytest.mark.parametrize(
    ("error", "fault"), [("OSError(5)", faults.FLASH_ERROR), ("ValueError()", faults.FIRMWARE)]
)
def test_a_class_whose_plan_can_t_be_read_any_more_says_so_and_leaves_a_whole_log(
    tmp_path, error, fault
):
    trouble = f"""
        from handbell_core.timeline import Reader
        whole, text = Reader.span, Reader.text
        def span(self, index, into):
            if index == 2:
                Reader.text = only_title
                raise {error}
            return whole(self, index, into)
        def only_title(self, index):
            if index:
                raise {error}
            return text(self, index)
        Reader.span = span
    """
    rig, start = play(tmp_path, trouble)
    data = timeline(two_windows)
    with rig:
        status = rig.ask("status")
        assert (status["state"], status["fault"]) == ("fault", fault)
        assert rig.ask("hello")["boot"] == 1  # the watchdog had nothing to do
        (run,) = rig.runs()
        assert len(of_kind(run, journal.TAP)) == 3 and reps(run)[7, 1] == 3
        (end,) = of_kind(run, journal.END)
        assert (end[4][0], end[3]) == (journal.BY_FAULT, 25_000)
        shown = rig.box.screen.pixels()
        rule = shown[19 * 128 : 20 * 128]  # the broken one of a box that can't play
        assert all(rule[:60]) and not any(rule[60:])
        rig.box.press(0, rig.world.now_us() + 100_000, hold_ms=1_600)
        rig.world.run_for(2_000_000)
        assert rig.ask("status")["state"] == "ready" and rig.box.screen.pixels() != shown
        rig.send([data])  # which tells the box that its host knows of the fault
        start = rig.arm([data])  # the plan that can't be read ends again, in a log of its own
        rig.world.run_to(start + 60_000_000)
        assert rig.ask("status")["state"] == "fault" and len(rig.runs()) == 2
        rig.send([data])
        start = rig.arm([data])  # and a host may arm a box at fault
        rig.world.run_to(start + 10_000_000)
        assert rig.ask("status")["state"] == "play"


def test_a_box_at_the_prompt_does_not_look_ready(tmp_path):
    trouble = """
        whole = main
        def main():
            whole()
            while True:  # a prompt: on a desktop the box would end here, and its parts go dark
                BOARD.idle(None)
    """
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        rig.world.run_for(10_000_000)
        ready = rig.box.screen.pixels()
        rig.ask("yield")
        rig.world.run_for(2_000_000)
        assert rig.box.screen.pixels() not in (ready, bytes(len(ready)))
        assert not any(any(colour) for colour in rig.box.light.colours)


def test_wild_settings_cost_the_box_nothing_but_themselves(tmp_path):
    trouble = """
        import json
        with open("box.json", "w") as f:
            json.dump({"station": 4, "label": ["x"], "tz_s": None, "starts": 7.5, "last": 3}, f)
    """
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        hello = rig.ask("hello")
        assert (hello["station"], hello["label"]) == (4, "")


def test_a_clock_out_of_all_bounds_is_refused_and_nothing_is_taken(tmp_path):
    data = timeline(two_windows)
    wild = ({"bound_us": "x"}, {"ppb": 1e300}, {"tz_s": None}, {"utc_us": [1]}, {"ppb": 10**9})
    with Rig(tmp_path) as rig:
        rig.send([data])
        before = rig.ask("status")["bound_us"]
        for field in wild:
            good = {"utc_us": 1_700_000_000_000_000, "box_us": 1, "bound_us": 9, "tz_s": 0}
            rate = {"ppb": 5, "ppb_bound": 5, "rate_utc_us": 1_700_000_000_000_000}
            with pytest.raises(HandbellError):
                rig.ask("clock", **(good | rate | field))
        rig.world.run_for(30_000_000)
        assert before <= rig.ask("status")["bound_us"] < before + 10_000
        assert rig.ask("status")["sel"] == digest(data)


def test_one_failed_read_of_the_settings_does_not_lose_them(tmp_path):
    trouble = """
        import json
        import os
        import box.storage
        class Json:
            fails = "started" in os.listdir()
            dumps = staticmethod(json.dumps)
            @staticmethod
            def load(file):
                if Json.fails:
                    Json.fails = False
                    raise OSError(5)
                return json.load(file)
        box.storage.json = Json
        open("started", "a").close()
    """
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.ask("name", station=4, label="Door")
        for _ in range(2):
            rig.box.cut_power()
            rig.box.power_up()
            hello = rig.ask("hello")
        assert (hello["station"], hello["label"]) == (4, "Door")


def test_the_last_error_outlives_the_box_s_start_and_is_told_whole(tmp_path):
    trouble = """
        import os
        from box.view import View
        whole = View.look_ahead
        def look_ahead(self, tick):
            if "cut" not in os.listdir():
                raise ValueError("at the cue")
            whole(self, tick)
        View.look_ahead = look_ahead
        from box.requests import TABLE
        TABLE["mark"] = lambda self, message: open("cut", "w").close()
    """
    rig, start = play(tmp_path, trouble)
    with rig:
        assert_rang(rig, start)
        rig.world.run_for(10_000_000)
        rig.ask("mark")
        rig.box.cut_power()
        rig.box.power_up()
        assert rig.ask("status")["erred"] == "start 1, ahead: ValueError: at the cue"
        whole = b""
        while len(whole) < (said := rig.ask("erred", at=len(whole)))["n"]:
            whole += binascii.a2b_base64(said["b"])
    assert b"Traceback" in whole and whole.endswith(b"ValueError: at the cue\n")


def test_a_run_that_cuts_itself_off_again_and_again_is_left_in_the_end(tmp_path):
    trouble = """
        from box.session import Session
        whole = Session.step
        def step(self, tick):
            if self.runner and self.runner.index > 0:
                raise ValueError
            whole(self, tick)
        Session.step = step
    """
    data = timeline(lambda: [lead_in(5_000), *(window(20_000) for _ in range(30))])
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        rig.world.run_for(10_000_000)
        start = rig.arm([data])
        rig.world.run_to(start + 300_000_000)
        boots = rig.ask("hello")["boot"]
        assert 3 <= boots <= 10
        rig.world.run_for(60_000_000)
        assert rig.ask("hello")["boot"] == boots
        assert rig.ask("status")["state"] == "ready"


def test_a_box_without_any_memory_left_does_not_end_at_the_prompt(tmp_path):
    trouble = """
        import micropython
        from box.loop import Loop
        from box.requests import TABLE
        from box.trouble import Trouble
        error = MemoryError("all of it")
        starves = [0, 0]
        turn, tell = Loop.turn, Trouble.tell
        def turned(self, most_us):
            if starves[0]:
                starves[0] = 0
                raise error
            return turn(self, most_us)
        def told(self, where, error):
            if where == "loop":
                micropython.heap_lock()
            try:
                tell(self, where, error)
            finally:
                if where == "loop":
                    micropython.heap_unlock()
        Loop.turn, Trouble.tell = turned, told
        def starve(self, message):
            starves[0] = 1
        TABLE["starve"] = starve
    """
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.ask("starve")
        rig.world.run_for(1_000_000)
        status = rig.ask("status")
        assert (status["state"], rig.ask("hello")["boot"]) == ("empty", 1)
        assert "no memory left" in status["erred"]
