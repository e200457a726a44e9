"""What fails as a run begins, is found again or ends: no class without a log of its own."""

import pytest
from troubled import play, troubled, two_windows

from handbell.boxes.classes.collect import collect
from handbell.store import open_store
from handbell_core import faults, journal
from made import lead_in, rest, window
from rig import Rig, digest, of_kind, reps, start_by_hand, timeline

pytestmark = pytest.mark.usefixtures("micropython")


def long_windows():
    return [lead_in(5_000), window(60_000), rest(10_000), window(60_000)]


def kinds(run):
    return [rec[0] for rec in journal.parse(run)[0]]


def one_log_each(runs):
    for run in runs:
        of = kinds(run)
        assert of[0] == journal.RUN and of.count(journal.RUN) == 1
        assert of[-1] == journal.END and of.count(journal.END) == 1


def hand_class(rig, taps=(6, 7, 8), for_s=130):
    """Start by hand and play; return the start."""
    at = rig.world.now_us() + 5_000_000
    start_by_hand(rig.box, at, hold_ms=1_600)
    utc = rig.world.clock.start_utc_us
    start = -(-(at + 6_530_000 + utc) // 30_000_000) * 30_000_000 - utc
    for at_s in taps:
        rig.box.press(0, start + at_s * 1_000_000)
    rig.world.run_to(start + for_s * 1_000_000)
    return start


@pytest.mark.parametrize("error", ["MemoryError", "OSError(5)"])
@pytest.mark.parametrize("by_host", [True, False])
def test_a_log_that_can_t_be_opened_at_first_begins_as_every_log_does(tmp_path, error, by_host):
    trouble = f"""
        from box.storage import Storage
        whole = Storage.new_run
        done = []
        def new_run(self):
            if not done:
                done.append(1)
                raise {error}
            return whole(self)
        Storage.new_run = new_run
    """
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        if by_host:
            start = rig.arm([data])
            for at_s in (6, 7, 8):
                rig.box.press(0, start + at_s * 1_000_000)
            rig.world.run_to(start + 120_000_000)
        else:
            hand_class(rig)
        (run,) = rig.runs()
    one_log_each([run])
    assert len(of_kind(run, journal.TAP)) == 3


def test_a_class_does_not_go_on_in_the_log_of_the_one_before(tmp_path):
    trouble = """
        from box.buttons import Buttons
        from box.account import Account
        whole, finish = Buttons.before_blind, Account.finish
        state = [False, False]
        def finished(self, *a):
            state[0] = self.is_over
            try:
                finish(self, *a)
            finally:
                state[0] = False
        def before_blind(self, tick, sink):
            if state[0] and not state[1]:
                state[1] = True
                raise MemoryError
            whole(self, tick, sink)
        Buttons.before_blind = before_blind
        Account.finish = finished
    """
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        for _ in range(2):
            hand_class(rig)
        runs = rig.runs()
    assert len(runs) == 2
    one_log_each(runs)


@pytest.mark.parametrize("reopenings_that_fail", [0, 1, 2])
def test_a_write_that_was_kept_though_it_failed_costs_and_doubles_no_rep(
    tmp_path, reopenings_that_fail
):
    trouble = f"""
        import box.log
        from box.storage import Storage
        box.log.TAIL_BYTES = 96
        reopen, new = Storage.reopen_run, Storage.new_run
        flushes, left = [], []
        class Kept:
            def __init__(self, file):
                self.file = file
            def write(self, data):
                return self.file.write(data)
            def close(self):
                self.file.close()
            def flush(self):
                self.file.flush()
                flushes.append(1)
                if len(flushes) == 3:
                    left.extend([1] * {reopenings_that_fail})
                    raise OSError(5)
        def reopen_run(self, name):
            if left:
                left.pop()
                raise OSError(5)
            file, size, whole = reopen(self, name)
            return Kept(file), size, whole
        def new_run(self):
            name, file = new(self)
            return name, Kept(file)
        Storage.new_run, Storage.reopen_run = new_run, reopen_run
    """
    taps = [6 + n / 2 for n in range(36)] + [36 + n / 2 for n in range(36)]
    rig, _ = play(tmp_path, trouble, taps)
    with rig:
        (run,) = rig.runs()
    at = [rec[3] for rec in of_kind(run, journal.TAP)]
    assert len(at) == len(set(at)) == len(taps)


def test_a_log_that_was_collected_and_erased_is_not_gone_on_with(tmp_path):
    data = timeline(long_windows)
    with Rig(tmp_path, rtc=True) as rig, open_store(str(tmp_path / "store.db")) as store:
        rig.send([data])
        rig.world.run_for(40_000_000)
        start = rig.arm([data])
        rig.world.run_to(start + 200_000_000)
        with rig.fleet() as fleet:
            assert all(o.error is None for o in collect(fleet, store))
        start = rig.arm([data])
        rig.box.unplug()
        for at_s in (6, 7, 8, 30, 31, 80, 81, 82):
            rig.box.press(0, start + at_s * 1_000_000)
        rig.world.run_to(start + 12_000_000)
        rig.box.cut_power()
        rig.world.run_to(start + 16_000_000)
        rig.box.power_up()
        rig.box.plug_in()
        rig.world.run_to(start + 16_200_000)
        with rig.fleet() as fleet:
            assert all(o.error is None for o in collect(fleet, store))
        rig.world.run_to(start + 220_000_000)
        for run in rig.runs():
            assert kinds(run)[0] == journal.RUN


def test_a_plan_that_can_t_be_read_at_the_start_leaves_a_box_that_plays_it_all_the_same(tmp_path):
    trouble = """
        import os
        import box.loaded
        whole = box.loaded.Runner
        done = [] if "started" in os.listdir() else [1]
        open("started", "a").close()
        def Runner(*a):
            if not done:
                done.append(1)
                raise MemoryError
            return whole(*a)
        box.loaded.Runner = Runner
    """
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        rig.box.cut_power()
        rig.box.power_up()
        rig.world.run_for(10_000_000)
        assert rig.ask("status")["state"] == "ready"


def test_a_plan_that_one_read_fails_of_is_not_left_for_another_for_good(tmp_path):
    trouble = """
        import os
        from box.storage import Storage
        whole = Storage.open_timeline
        count = len([name for name in os.listdir() if name.startswith("start-")])
        open("start-%d" % count, "a").close()
        fails = [1, 1, 1] if count == 1 else [1] if count == 2 else []
        def open_timeline(self, digest):
            if fails:
                fails.pop()
                raise OSError(5)
            return whole(self, digest)
        Storage.open_timeline = open_timeline
    """
    old, new = timeline(lambda: [lead_in(5_000), window(20_000)]), timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([old])
        rig.send([new])
        rig.ask("select", d=digest(old))
        said = []
        for _ in range(2):
            rig.box.cut_power()
            rig.box.power_up()
            rig.world.run_for(6_000_000)
            status = rig.ask("status")
            said.append((status["sel"], status["fault"]))
    assert said == [(digest(new), faults.TIMELINE_BROKEN), (digest(old), 0)]


def test_a_rep_one_whole_wrap_of_the_ticks_after_the_last_one_counts(tmp_path):
    data = timeline(lambda: [lead_in(5_000), window(1_200_000), rest(10_000)])
    with Rig(tmp_path) as rig:
        rig.send([data])
        start = rig.arm([data])
        at = start + 10_000_000
        for slot, later_us in ((0, 40_000), (1, 3_000_000)):
            rig.box.press(slot, at)
            rig.box.press(slot, at + (1 << 30) + later_us)
        rig.world.run_to(start + 1_300_000_000)
        (run,) = rig.runs()
    assert reps(run) == {(7, 1): 2, (8, 1): 2}


def test_a_log_full_of_what_could_not_be_written_still_tells_its_end(tmp_path):
    trouble = """
        import box.log
        from box.log import Log
        state = [0, 0]
        def opened(path, mode):
            state[0] += 1
            if state[0] > 2 and not state[1]:
                raise OSError(5)
            return open(path, mode)
        box.log.open = opened
        whole = Log._into_journal
        def into(self, fresh):
            if state[0] > 2 and not state[1]:
                raise OSError(5)
            whole(self, fresh)
        Log._into_journal = into
        over = box.log.Log.make_room
        from box.account import Account
        finish = Account.finish
        def finished(self, *a):
            if self.is_over:
                state[1] = 1
            finish(self, *a)
        Account.finish = finished
    """
    data = timeline(long_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        start = rig.arm([data])
        for n in range(110):
            rig.box.press(0, start + 6_000_000 + n * 500_000)
            rig.box.press(1, start + 6_100_000 + n * 500_000)
        rig.world.run_to(start + 220_000_000)
        (run,) = rig.runs()
    one_log_each([run])
    assert of_kind(run, journal.NOTE)  # that something was lost


@pytest.mark.parametrize("failing", ["Storage.reopen_run", "Runner.place_at"])
def test_a_class_is_joined_again_though_a_first_try_fails(tmp_path, failing):
    trouble = f"""
        import os
        from box.storage import Storage
        from handbell_core.runner import Runner
        whole = {failing}
        done = [] if "started" in os.listdir() else [1]
        open("started", "a").close()
        def once(self, *a):
            if not done:
                done.append(1)
                raise OSError(5)
            return whole(self, *a)
        {failing} = once
    """
    data = timeline(long_windows)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        start = cut(rig, data)
        rig.world.run_to(start + 50_000_000)
        rig.box.plug_in()
        assert rig.ask("status")["state"] == "play"


def cut(rig, data, taps=(6, 7, 8, 20, 21, 22, 30, 31, 90, 91)):
    """Play a class that the power cuts off from 12 s to 16 s; return its start."""
    rig.send([data])
    rig.world.run_for(40_000_000)
    start = rig.arm([data])
    rig.box.unplug()
    for at_s in taps:
        rig.box.press(0, start + at_s * 1_000_000)
    rig.world.run_to(start + 12_000_000)
    rig.box.cut_power()
    rig.world.run_to(start + 16_000_000)
    rig.box.power_up()
    return start


@pytest.mark.parametrize("fails", [False, True])
def test_a_box_says_that_a_class_was_cut_until_it_is_in_it_again(tmp_path, fails):
    trouble = f"""
        from box.requests import TABLE
        TABLE["cut"] = lambda self, message: {{"cut": self._session.facts.was_cut}}
        from handbell_core.runner import Runner
        whole = Runner.rejoin
        def rejoin(self, *how):
            if {fails}:
                raise OSError(5)
            return whole(self, *how)
        Runner.rejoin = rejoin
    """
    data = timeline(long_windows)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        start = cut(rig, data)
        rig.world.run_to(start + 60_000_000)
        rig.box.plug_in()
        state = "ready" if fails else "play"
        assert (rig.ask("status")["state"], rig.ask("cut")["cut"]) == (state, fails)


def test_a_class_is_not_joined_by_a_log_of_a_later_version(tmp_path):
    trouble = """
        import os
        from box.requests import TABLE
        from handbell_core.journal import parse_record, record
        def make_later(self, message):
            path = self._storage.path("runs", self._storage.runs()[-1])
            data = self._storage.read(path, 0, 2_400)
            _, _, window, at, payload = parse_record(data[:24])
            with open(path, "wb") as f:
                f.write(record(1, 3, window, at, payload) + data[24:])
        if "cut" in os.listdir():
            make_later(App(BOARD)._requests, {})
            os.remove("cut")
        TABLE["cut"] = lambda self, message: open("cut", "w").close()
    """
    data = timeline(long_windows)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        rig.world.run_for(40_000_000)
        rig.ask("cut")
        start = rig.arm([data])
        rig.world.run_to(start + 12_000_000)
        rig.box.cut_power()
        rig.box.power_up()
        rig.world.run_to(start + 40_000_000)
        assert rig.ask("status")["state"] == "ready"
        assert "another version" in rig.ask("status")["erred"]


def test_a_self_test_asked_for_just_before_takes_no_reps_of_a_class_joined_again(tmp_path):
    data = timeline(long_windows)
    with Rig(tmp_path, rtc=True) as rig:
        start = cut(rig, data)
        rig.box.plug_in()
        rig.world.run_to(start + 16_200_000)
        rig.ask("test", part="display")
        rig.world.run_to(start + 220_000_000)
        (run,) = rig.runs()
    assert reps(run)[7, 1] == 8 and reps(run)[7, 2] == 2


def test_a_press_that_a_self_test_began_under_starts_no_class(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path) as rig:
        rig.send([data])
        at = rig.world.now_us() + 2_000_000
        rig.box.press(0, at, hold_ms=800)
        rig.world.run_to(at + 300_000)
        rig.ask("test", part="buttons")
        rig.world.run_to(at + 4_000_000)
        assert rig.ask("status")["state"] == "ready"


def test_the_end_of_a_log_is_tried_again_whatever_failed(tmp_path):
    trouble = """
        import box.log
        from box.log import Log
        state = [0]
        def opened(path, mode):
            if state[0] == 1:
                state[0] = 2
                raise MemoryError
            return open(path, mode)
        box.log.open = opened
        end = Log.close
        def close(self):
            state[0] = 1
            end(self)
        Log.close = close
    """
    rig, _ = play(tmp_path, trouble, (6, 7, 8, 40, 41, 53, 54, 54.5))
    with rig:
        (run,) = rig.runs()
    one_log_each([run])
    assert len(of_kind(run, journal.TAP)) == 8


def test_a_start_that_was_taken_back_stays_so_though_the_log_s_end_fails(tmp_path):
    trouble = """
        from box.log import Log
        import os
        whole = Log._into_journal
        def into(self, fresh):
            if "failing" in os.listdir():
                raise MemoryError
            whole(self, fresh)
        Log._into_journal = into
        from box.requests import TABLE
        TABLE["mark"] = lambda self, message: open("failing", "w").close()
        TABLE["unmark"] = lambda self, message: os.remove("failing")
    """
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        rig.world.run_for(40_000_000)
        rig.arm([data], in_s=300)
        rig.ask("mark")
        rig.ask("disarm")
        rig.ask("unmark")
        rig.box.cut_power()
        rig.world.run_for(2_000_000)
        rig.box.power_up()
        rig.world.run_for(8_000_000)
        assert rig.ask("status")["state"] == "ready"


def test_a_start_that_was_taken_back_is_back_before_the_host_is_told(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True) as rig:
        rig.send([data])
        rig.world.run_for(40_000_000)
        rig.arm([data], in_s=300)
        rig.world.run_for(3_000_000)
        rig.ask("disarm")
        rig.box.cut_power()
        rig.world.run_for(2_000_000)
        rig.box.power_up()
        rig.world.run_for(8_000_000)
        assert rig.ask("status")["state"] == "ready"


def test_a_clock_set_while_the_choices_are_shown_leaves_no_page_up(tmp_path):
    """The box has been on for ten minutes, so its run time begins anew with the new clock."""
    data = timeline(lambda: [lead_in(20_000), window(60_000), rest(10_000), window(60_000)])
    with Rig(tmp_path) as rig:
        rig.send([data])
        rig.world.run_for(600_000_000)
        start = rig.arm([data], in_s=75)
        at = start - 66_000_000
        rig.box.press(0, at, hold_ms=5_300)
        rig.world.run_to(at + 5_500_000)
        page = rig.box.screen.pixels()
        rig.ask(
            "clock",
            utc_us=rig.world.clock.utc_us(),
            box_us=rig.ask("time")["t2"],
            bound_us=1_000,
            tz_s=0,
        )
        rig.world.run_to(at + 20_000_000)
        left = rig.box.screen.pixels()
        assert sum(a != b for a, b in zip(page, left, strict=True)) > 300
        for at_s in (22, 24, 26, 28):
            rig.box.press(0, start + at_s * 1_000_000)
        rig.world.run_to(start + 240_000_000)
        (run,) = rig.runs()
    assert reps(run)[7, 1] == 4
