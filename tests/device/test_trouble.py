"""Something of a box fails, once or for good: the class goes on, and the box answers its host."""

import struct

import pytest
from troubled import troubled

from handbell.errors import HandbellError
from handbell_core import faults, journal
from made import lead_in, rest, window
from rig import Rig, digest, of_kind, reps, timeline

pytestmark = pytest.mark.usefixtures("micropython")

BELLS_S = (5, 25, 35, 55)  # go, rest, go, close


def two_windows():
    return [lead_in(5_000), window(20_000), rest(10_000), window(20_000)]


def play(tmp_path, trouble, taps=(6, 7, 8, 40, 41), **spec):
    """Play a class on a box with ``trouble``; return its rig, still open, and its start."""
    data = timeline(two_windows)
    rig = Rig(tmp_path, firmware=troubled(tmp_path, trouble), **spec)
    rig.send([data])
    start = rig.arm([data])
    for at in taps:
        rig.box.press(0, start + int(at * 1e6))
    rig.world.run_to(start + 120_000_000)
    return rig, start


def assert_rang(rig, start, within_us=5_000):
    bells = [bell - start for bell in rig.box.sound.bells() if bell > start]
    for due_s in BELLS_S:
        assert min(abs(bell - due_s * 1_000_000) for bell in bells) <= within_us, due_s


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
        assert rig.ask("status")["fault"] == faults.FIRMWARE
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
        from box.app import App
        begin = App.arm
        def arm(self, start_ms):
            started.append(1)
            begin(self, start_ms)
        App.arm = arm
        PWM.duty_u16 = duty_u16
    """
    rig, _ = play(tmp_path, trouble)
    with rig:
        assert rig.ask("status")["fault"] == faults.FIRMWARE
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


def test_errors_without_end_leave_an_idle_box_that_answers(tmp_path):
    trouble = """
        from box.view import View
        def show(self, tick, runner):
            raise MemoryError
        View.show = show
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


def test_an_arming_that_fails_halfway_leaves_no_start(tmp_path):
    trouble = """
        from box.storage import Storage
        whole = Storage.save
        def save(self, **changes):
            if "start_ms" in changes:
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


def test_a_log_that_can_t_be_begun_is_told_to_who_arms(tmp_path):
    trouble = """
        from box.storage import Storage
        def new_run(self):
            raise OSError(5)
        Storage.new_run = new_run
    """
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        with pytest.raises(HandbellError):
            rig.arm([data])
        assert rig.ask("status")["state"] == "ready"


def test_an_end_that_fails_leaves_the_next_class_a_log_of_its_own(tmp_path):
    trouble = """
        from box.log import Log
        whole = Log.make_room
        done = []
        def make_room(self):
            if not done:
                done.append(1)
                raise OSError(5)
            whole(self)
        Log.make_room = make_room
    """
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        for _ in range(2):
            start_ms = rig.world.clock.utc_us() // 1_000_000 * 1000 + 10_000
            rig.ask("arm", d=digest(data), utc_ms=start_ms)
            start = start_ms * 1000 - rig.world.clock.start_utc_us
            rig.box.press(0, start + 6_000_000)
            rig.world.run_to(start + 120_000_000)
        runs = rig.runs()
    assert [len(of_kind(run, journal.RUN)) for run in runs] == [1, 1]
    assert [len(of_kind(run, journal.TAP)) for run in runs] == [1, 1]


def test_a_class_that_is_stuck_for_good_is_ended_by_the_watchdog(tmp_path):
    trouble = """
        from handbell_core.runner import Runner
        whole = Runner._enter
        def enter(self, index, run_ms):
            if index == 2:
                raise ValueError
            whole(self, index, run_ms)
        Runner._enter = enter
    """
    rig, _ = play(tmp_path, trouble)
    with rig:
        status = rig.ask("status")
        assert status["state"] == "ready"  # it began anew, without a clock part, and says so
        assert rig.ask("hello")["boot"] == 2
        (run,) = rig.runs()
    assert len(of_kind(run, journal.TAP)) == 3


def test_two_buttons_held_in_the_same_moment_start_a_class_with_a_log(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path) as rig:
        rig.send([data])
        at = rig.world.now_us() + 5_000_000
        for slot in (0, 1):
            rig.box.press(slot, at, hold_ms=2_000)
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


def test_an_arming_after_a_start_by_hand_goes_by_the_clock_just_set(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path, ppm=40) as rig:
        rig.send([data])
        rig.box.unplug()
        rig.world.run_for(3_600_000_000)
        at = rig.world.now_us() + 1_000_000
        rig.box.press(0, at, hold_ms=2_000)
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
        at = rig.world.now_us() + 3_000_000
        rig.box.press(0, at, hold_ms=2_000)
        rig.world.run_to(at + 2_500_000)
        start = rig.arm([data], in_s=60)
        rig.world.run_to(start + 120_000_000)
        assert_rang(rig, start)


def test_a_log_whose_first_write_fails_leaves_no_start(tmp_path):
    trouble = """
        from box.log import Log
        def write(self):
            self.full = True
            return False
        Log.write = write
    """
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        with pytest.raises(HandbellError):
            rig.arm([data])
        assert rig.ask("status")["state"] == "ready"


def test_dropping_the_plan_that_is_armed_ends_its_log(tmp_path):
    one, two = timeline(two_windows), timeline(lambda: two_windows()[:2])
    with Rig(tmp_path) as rig:
        rig.send([one])
        rig.arm([one], in_s=300)
        assert rig.ask("drop", of="timelines", name=digest(one), d=digest(one))["gone"]
        rig.send([two])
        start = rig.arm([two])
        rig.box.press(0, start + 6_000_000)
        rig.world.run_to(start + 60_000_000)
        runs = rig.runs()
    assert [len(of_kind(run, journal.RUN)) for run in runs] == [1, 1]
    assert [len(of_kind(run, journal.TAP)) for run in runs] == [0, 1]


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


def test_one_failed_read_of_the_settings_does_not_lose_them(tmp_path):
    trouble = """
        import json
        import os
        import box.storage
        class Json:
            fails = "started" in os.listdir()
            dump = staticmethod(json.dump)
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


@pytest.mark.parametrize("fails_at", [1, 12, 20])
def test_a_flash_that_fails_for_good_ends_no_class(tmp_path, fails_at):
    """The first operations mount the file system and count the start."""
    data = timeline(two_windows)
    with Rig(tmp_path) as rig:
        rig.send([data])
        rig.box.cut_power()
        rig.box.spec.flash_fails_at = 20 + fails_at
        rig.box.power_up()
        at = rig.world.now_us() + 5_000_000
        rig.box.press(0, at, hold_ms=1_600)
        start = at + 1_530_000 + 5_000_000
        rig.world.run_to(start + 80_000_000)
        assert_rang(rig, start, within_us=20_000)
        assert rig.ask("hello")["boot"] == 2


@pytest.mark.parametrize("part", ["tail", "journal", "flush"])
@pytest.mark.parametrize("times", [1, 2])
def test_writes_that_fail_now_and_then_cost_no_tap(tmp_path, part, times):
    trouble = f"""
        import box.log
        from box.log import Log
        calls = []
        def fails():
            calls.append(1)
            return 3 <= len(calls) < 3 + {times}
        if "{part}" == "tail":
            def opened(path, mode):
                if fails():
                    raise OSError(5)
                return open(path, mode)
            box.log.open = opened
        else:
            whole = Log._into_journal
            def into(self, fresh):
                failing = fails()
                if failing and "{part}" == "flush":  # it is kept, and an error told all the same
                    self._file.write(memoryview(self._tail)[4 : 4 + self._tail_used])
                    self._file.write(fresh)
                    self._file.flush()
                if failing:
                    raise OSError(5)
                whole(self, fresh)
            Log._into_journal = into
            box.log.TAIL_BYTES = 96  # so that nearly every write goes there
    """
    taps = [6 + n / 2 for n in range(36)] + [36 + n / 2 for n in range(36)]
    rig, _ = play(tmp_path, trouble, taps=taps)
    with rig:
        (run,) = rig.runs()
    assert len(of_kind(run, journal.TAP)) == 72
    assert len({rec[3] for rec in of_kind(run, journal.TAP)}) == 72


def test_a_flash_without_room_ends_the_log_and_says_so(tmp_path):
    trouble = """
        import box.log
        calls = []
        def opened(path, mode):
            calls.append(1)
            if len(calls) == 4:
                raise OSError(28)
            return open(path, mode)
        box.log.open = opened
    """
    rig, start = play(tmp_path, trouble, taps=[6 + n / 2 for n in range(36)])
    with rig:
        assert_rang(rig, start)
        (run,) = rig.runs()
    notes = {struct.unpack("<H", rec[4][:2])[0] for rec in of_kind(run, journal.NOTE)}
    assert faults.STORAGE_FULL in notes and of_kind(run, journal.END)


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


@pytest.mark.parametrize("fails", [1, 2])
def test_a_log_that_fails_while_it_is_closed_is_whole_all_the_same(tmp_path, fails):
    trouble = f"""
        from box.log import Log
        whole = Log._into_journal
        fails = []
        def into(self, fresh):
            if not fresh and len(fails) < {fails}:
                fails.append(1)
                raise OSError(5)
            whole(self, fresh)
        Log._into_journal = into
    """
    rig, _ = play(tmp_path, trouble)
    with rig:
        (run,) = rig.runs()
    assert len(of_kind(run, journal.TAP)) == 5 and of_kind(run, journal.END)


def test_a_tail_that_was_left_is_joined_before_its_log_is_listed_or_erased(tmp_path):
    trouble = """
        from box.log import Log
        whole = Log._into_journal
        def into(self, fresh):
            if not fresh:
                raise OSError(5)
            whole(self, fresh)
        Log._into_journal = into
    """
    rig, _ = play(tmp_path, trouble)
    with rig:
        entry = rig.ask("list", of="runs", i=0)
        (run,) = rig.runs()
        assert len(run) == entry["size"] and len(of_kind(run, journal.TAP)) == 5
        assert rig.ask("drop", of="runs", name=entry["name"], d=entry["d"])["gone"]
        assert rig.ask("status")["runs"] == 0


def test_a_log_that_can_t_be_opened_at_once_is_opened_later(tmp_path):
    trouble = """
        from box.storage import Storage
        whole = Storage.new_run
        fails = []
        def new_run(self):
            if len(fails) < 2:
                fails.append(1)
                raise OSError(5)
            return whole(self)
        Storage.new_run = new_run
    """
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        at = rig.world.now_us() + 2_000_000
        rig.box.press(0, at, hold_ms=1_600)
        rig.world.run_to(at + 3_000_000)
        assert rig.ask("status")["runs"] == 0
        rig.world.run_to(at + 120_000_000)
        (run,) = rig.runs()
    assert of_kind(run, journal.RUN) and of_kind(run, journal.END)


def test_no_start_is_set_on_a_class_that_is_over_and_can_t_be_read_again(tmp_path):
    trouble = """
        from box.app import App
        whole = App.select
        App.select = lambda self, digest: not (self.runner and self.runner.index > 0) and whole(
            self, digest
        )
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


@pytest.mark.parametrize("call", ["os.listdir", "open"])
def test_tails_that_can_t_be_joined_keep_no_box_from_starting(tmp_path, call):
    trouble = f"""
        import box.storage
        from box.storage import Storage
        import os
        class Os:
            pass
        for name in dir(os):
            setattr(Os, name, getattr(os, name))
        fails = []
        def once(path, *how):
            if "runs" in path and not fails:
                fails.append(1)
                raise OSError(5)
            return {call}(path, *how)
        if "{call}" == "open":
            box.storage.open = once
        else:
            Os.listdir = once
            box.storage.os = Os
    """
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        assert rig.ask("hello")["boot"] == 1


def test_room_that_can_t_be_made_costs_no_end(tmp_path):
    trouble = """
        from box.log import Log
        def make_room(self):
            raise OSError(5)
        Log.make_room = make_room
    """
    rig, _ = play(tmp_path, trouble)
    with rig:
        (run,) = rig.runs()
    assert of_kind(run, journal.END)


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


LONG_WINDOWS = ((5.5, 5_200), (11.0, 1_700))  # the door, and the choices behind it


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


def test_a_log_that_can_t_be_opened_for_a_while_keeps_what_was_pressed(tmp_path):
    trouble = """
        from box.storage import Storage
        whole = Storage.new_run
        fails = []
        def new_run(self):
            fails.append(1)
            if len(fails) < 9:
                raise OSError(5)
            return whole(self)
        Storage.new_run = new_run
    """
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        at = rig.world.now_us() + 2_000_000
        rig.box.press(0, at, hold_ms=1_600)
        for at_s in (50, 51, 52):
            rig.box.press(0, at + at_s * 1_000_000)
        rig.world.run_to(at + 200_000_000)
        (run,) = rig.runs()
        assert rig.ask("status")["fault"] == faults.FLASH_ERROR
    assert journal.parse(run)[0][0][0] == journal.RUN
    assert len(of_kind(run, journal.TAP)) == 3 and of_kind(run, journal.END)


def test_what_a_failing_flash_loses_is_not_called_a_full_log(tmp_path):
    trouble = """
        import box.log
        calls = []
        def opened(path, mode):
            calls.append(1)
            if len(calls) > 2:
                raise OSError(5)
            return open(path, mode)
        box.log.open = opened
        from box.log import Log
        begin = Log.__init__
        def small(self, storage):
            begin(self, storage)
            self._queue = bytearray(30 * 24)
        Log.__init__ = small
        whole = Log._into_journal
        def into(self, fresh):
            if self._used and not self._ends:
                raise OSError(5)
            whole(self, fresh)
        Log._ends = False
        Log._into_journal = into
        end = Log.close
        def close(self):
            Log._ends = True
            box.log.open = open
            end(self)
        Log.close = close
    """
    rig, _ = play(tmp_path, trouble, taps=[6 + n / 4 for n in range(70)])
    with rig:
        (run,) = rig.runs()
    notes = {struct.unpack("<H", rec[4][:2])[0] for rec in of_kind(run, journal.NOTE)}
    assert faults.STORAGE_FULL not in notes
    assert len(of_kind(run, journal.TAP)) < 70
