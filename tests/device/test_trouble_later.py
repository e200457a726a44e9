"""What failed once and is long over: it puts off, mutes and refuses nothing later."""

import pytest
from troubled import play, troubled, two_windows

from handbell_core import journal
from made import lead_in, rest, window
from rig import Rig, of_kind, reps, start_by_hand, timeline

pytestmark = pytest.mark.usefixtures("micropython")

ONE_SAVE_FAILS = """
    from box.storage import Storage
    whole = Storage.save
    done = []
    def save(self, **changes):
        if changes.get("start_ms") == 0 != self.settings["start_ms"] and not done:
            done.append(1)
            raise OSError(5)
        whole(self, **changes)
    Storage.save = save
"""


@pytest.mark.parametrize("gap_s", [300, 700, 1_000])
def test_an_error_at_one_class_s_end_costs_the_next_class_nothing(tmp_path, gap_s):
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, ONE_SAVE_FAILS)) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.world.run_to(start + gap_s * 1_000_000)
        at = rig.world.now_us() + 5_000_000
        start_by_hand(rig.box, at)
        utc = rig.world.clock.start_utc_us
        start = -(-(at + 6_530_000 + utc) // 30_000_000) * 30_000_000 - utc
        for n in range(10):
            rig.box.press(0, start + 6_000_000 + n * 1_000_000)
        rig.world.run_to(start + 150_000_000)
        assert rig.ask("hello")["boot"] == 1
        runs = rig.runs()
    assert len(runs) == 2 and reps(runs[1])[7, 1] == 10 and of_kind(runs[1], journal.END)


def test_a_sounder_that_failed_once_in_a_long_window_resets_no_box(tmp_path):
    trouble = """
        from machine import PWM
        whole = PWM.duty_u16
        n = []
        def duty_u16(self, duty):
            if self.freq() == 1319:
                n.append(1)
                if len(n) == 1:
                    raise OSError(5)
            whole(self, duty)
        PWM.duty_u16 = duty_u16
    """
    data = timeline(lambda: [lead_in(5_000), window(720_000), rest(10_000), window(20_000)])
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        start = rig.arm([data])
        for n in range(0, 700, 10):
            rig.box.press(0, start + (6 + n) * 1_000_000)
        rig.world.run_to(start + 860_000_000)
        assert rig.ask("hello")["boot"] == 1
        (run,) = rig.runs()
    assert reps(run)[7, 1] == 70 and of_kind(run, journal.END)


def test_a_box_whose_program_met_an_error_that_is_over_can_be_armed(tmp_path):
    rig, _ = play(tmp_path, ONE_SAVE_FAILS)
    with rig:
        data = timeline(two_windows)
        rig.send([data])
        assert rig.ask("status")["fault"] == 0
        rig.arm([data])


@pytest.mark.parametrize("error,times", [(28, 3), (5, 4)])
def test_a_log_that_could_not_be_kept_refuses_no_class_once_it_is_collected(tmp_path, error, times):
    trouble = f"""
        import box.log
        calls = []
        def opened(path, mode):
            calls.append(1)
            if 3 <= len(calls) < 3 + {times}:
                raise OSError({error})
            return open(path, mode)
        box.log.open = opened
    """
    rig, _ = play(tmp_path, trouble, [6 + n for n in range(18)])
    with rig:
        entry = rig.ask("list", of="runs", i=0)
        rig.ask("drop", of="runs", name=entry["name"], d=entry["d"])
        data = timeline(two_windows)
        rig.send([data])
        assert rig.ask("status")["fault"] == 0
        rig.arm([data])


@pytest.mark.parametrize("times", [1, 8])
def test_a_class_is_joined_though_its_log_can_t_be_opened_for_seconds(tmp_path, times):
    trouble = f"""
        from box.storage import Storage
        whole = Storage.reopen_run
        done = []
        def reopen(self, name):
            if len(done) < {times}:
                done.append(1)
                raise OSError(5)
            return whole(self, name)
        Storage.reopen_run = reopen
    """
    data = timeline(lambda: [lead_in(5_000), window(40_000), rest(10_000), window(40_000)])
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        rig.world.run_for(30_000_000)
        start = rig.arm([data])
        rig.world.run_to(start + 20_000_000)
        rig.box.cut_power()
        rig.world.run_to(start + 22_000_000)
        rig.box.power_up()
        rig.world.run_to(start + 40_000_000)
        assert rig.ask("status")["state"] == "play"


def test_a_start_set_by_hand_outlives_a_power_failure(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True) as rig:
        rig.send([data])
        rig.world.run_for(30_000_000)
        at = rig.world.now_us() + 5_000_000
        start_by_hand(rig.box, at)
        utc = rig.world.clock.start_utc_us
        start = -(-(at + 6_530_000 + utc) // 30_000_000) * 30_000_000 - utc
        rig.world.run_to(start - 4_000_000)
        rig.box.cut_power()
        rig.world.run_to(start - 3_500_000)
        rig.box.power_up()
        rig.world.run_to(start + 8_000_000)
        assert rig.ask("status")["state"] == "play"
        rig.world.run_to(start + 150_000_000)
        (run,) = rig.runs()
    assert of_kind(run, journal.END)


def test_an_error_of_the_same_job_long_after_is_told(tmp_path):
    trouble = """
        from box.requests import TABLE
        from box.view import View
        whole = View.draw
        todo = []
        TABLE["fail"] = lambda self, message: todo.append(message["name"])
        def draw(self, tick):
            if todo:
                raise ValueError(todo.pop())
            whole(self, tick)
        View.draw = draw
    """
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        for name in ("first", "second"):
            rig.ask("fail", name=name)
            rig.world.run_for(10_000_000)
            assert rig.ask("status")["erred"].endswith(name)
            rig.world.run_for(700_000_000)
        rig.box.cut_power()
        rig.box.power_up()
        assert rig.ask("status")["erred"].endswith("second")


@pytest.mark.parametrize("first,times", [(1, 1), (2, 2)])
def test_a_log_whose_first_or_last_writes_find_no_room_for_once_is_whole(tmp_path, first, times):
    trouble = f"""
        import box.log
        calls = []
        def opened(path, mode):
            calls.append(1)
            if {first} <= len(calls) < {first + times}:
                raise OSError(28)
            return open(path, mode)
        box.log.open = opened
    """
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        at = rig.world.now_us() + 5_000_000
        start_by_hand(rig.box, at)
        rig.world.run_for(200_000_000)
        (run,) = rig.runs()
    kinds = [rec[0] for rec in journal.parse(run)[0]]
    assert kinds[0] == journal.RUN and kinds[-1] == journal.END


def test_a_report_full_of_odd_signs_still_fits_into_a_frame(tmp_path):
    trouble = """
        from box.view import View
        def draw(self, tick):
            raise ValueError('"' * 40 + "\\\\\\\\" * 40)
        View.draw = draw
    """
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.world.run_for(5_000_000)
        assert "ValueError" in rig.ask("status")["erred"]
