"""What a flash does that fails, is full or was cut off: no record lost, doubled or put elsewhere."""

import struct

import pytest
from troubled import assert_rang, play, troubled, two_windows

from handbell.base.errors import HandbellError
from handbell_core import faults, journal
from made import lead_in, rest, window
from rig import Rig, digest, of_kind, reps, start_by_hand, timeline

pytestmark = pytest.mark.usefixtures("micropython")


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
        start_by_hand(rig.box, at, hold_ms=1_600)
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


def test_on_a_flash_without_room_what_comes_waits_for_the_end(tmp_path):
    trouble = """
        import box.log
        from box.log import Log
        calls = []
        def opened(path, mode):
            calls.append(1)
            if len(calls) >= 4:
                raise OSError(28)
            return open(path, mode)
        box.log.open = opened
        whole, end = Log._into_journal, Log.make_room
        def into(self, fresh):
            if len(calls) >= 4:
                raise OSError(28)
            whole(self, fresh)
        def make_room(self):
            end(self)
            calls.clear()
        Log._into_journal, Log.make_room = into, make_room
    """
    rig, start = play(tmp_path, trouble, taps=[6 + n / 2 for n in range(36)])
    with rig:
        assert_rang(rig, start)
        (run,) = rig.runs()
    assert len(of_kind(run, journal.TAP)) == 36 and noted(run) == []
    assert len(of_kind(run, journal.RESULT)) == 4 and of_kind(run, journal.END)


def noted(run):
    """Return (fault, value) of each note."""
    return [struct.unpack("<HHi", rec[4][:8])[::2] for rec in of_kind(run, journal.NOTE)]


@pytest.mark.parametrize("full", [0, 1, 2])
def test_one_write_that_finds_no_room_costs_nothing_while_there_is_a_reserve(tmp_path, full):
    trouble = f"""
        import box.log
        calls = []
        def opened(path, mode):
            calls.append(1)
            if {full} and len(calls) == 3 + {full}:
                raise OSError(28)
            return open(path, mode)
        box.log.open = opened
        from box.requests import TABLE
        import os
        TABLE["held"] = lambda self, message: {{"n": os.listdir("runs")}}
    """
    rig, start = play(tmp_path, trouble, taps=[6 + n / 2 for n in range(36)])
    with rig:
        assert_rang(rig, start)
        (run,) = rig.runs()
        held = {name for name in rig.ask("held")["n"] if "reserve" in name}
        assert rig.ask("status")["fault"] == 0
    assert len(of_kind(run, journal.TAP)) == 36 and noted(run) == []
    assert held == ({"reserve2"} if full else {"reserve", "reserve2"})  # one is for the end


UNTIL_THE_END = """
    import box.log
    from box.log import Log
    from box.storage import Storage
    failing = []
    def opened(path, mode):
        if failing:
            raise OSError(ERROR)
        return open(path, mode)
    whole, reopen = Log._into_journal, Storage.reopen_run
    def into(self, fresh):
        if failing:
            raise OSError(ERROR)
        whole(self, fresh)
    def reopen_run(self, name):
        if REOPENING and failing:
            raise OSError(5)
        return reopen(self, name)
    box.log.open, Log._into_journal, Storage.reopen_run = opened, into, reopen_run
    from box.requests import TABLE
    TABLE["fails"] = lambda self, message: failing.append(1)
    TABLE["works"] = lambda self, message: failing.clear()
    from box import requests
    requests.QUIET += ("fails", "works")
"""


@pytest.mark.parametrize("error", [5, 28])
@pytest.mark.parametrize("reopening", [0, 1])
@pytest.mark.parametrize("after_s", [-1, 30])
def test_a_log_full_in_class_has_its_results_its_end_and_what_was_lost(
    tmp_path, error, reopening, after_s
):
    """Whether the flash answers again before the class has ended, or when the box is at rest."""
    trouble = UNTIL_THE_END.replace("ERROR", str(error)).replace("REOPENING", str(reopening))
    data = timeline(lambda: [lead_in(5_000), window(120_000), rest(10_000)])
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.ask("fails")
        for n in range(230):
            rig.box.press(n % 2, start + 6_000_000 + n * 500_000)
        rig.world.run_to(start + int((135 + after_s) * 1e6))
        rig.ask("works")
        rig.world.run_to(start + 180_000_000)
        rig.box.cut_power()
        rig.box.power_up()
        rig.world.run_for(3_000_000)
        (run,) = rig.runs()
    taps = len(of_kind(run, journal.TAP))
    assert 150 < taps < 230
    fault = faults.FLASH_ERROR if error == 5 else faults.STORAGE_FULL
    assert noted(run) == [(fault, 230 - taps)]  # what a failing flash loses is no full log
    assert reps(run) == {(7, 1): 115, (8, 1): 115}
    assert len(of_kind(run, journal.END)) == 1


def test_a_tap_that_waits_gives_way_to_a_result(tmp_path):
    trouble = UNTIL_THE_END.replace("ERROR", "5").replace("REOPENING", "0")
    data = timeline(lambda: [lead_in(5_000), *[window(10_000) for _ in range(12)], rest(10_000)])
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.ask("fails")
        for n in range(230):
            rig.box.press(n % 2, start + 6_000_000 + n * 500_000)
        rig.world.run_to(start + 134_000_000)
        rig.ask("works")
        rig.world.run_to(start + 160_000_000)
        (run,) = rig.runs()
    assert len(reps(run)) == 24 and len(of_kind(run, journal.RESULT)) == 24
    lost = 230 - len(of_kind(run, journal.TAP))
    assert (faults.FLASH_ERROR, lost) in noted(run)
    assert journal.parse(run)[0][-1][0] == journal.END


@pytest.mark.parametrize("error", [5, 28])
def test_a_class_without_a_log_keeps_no_later_one_from_being_armed(tmp_path, error):
    trouble = f"""
        from box.storage import Storage
        whole = Storage.new_run
        failing = [1]
        def new_run(self):
            if failing:
                raise OSError({error})
            return whole(self)
        Storage.new_run = new_run
        from box.requests import TABLE
        TABLE["works"] = lambda self, message: failing.clear()
    """
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        start_by_hand(rig.box, rig.world.now_us() + 5_000_000)
        rig.world.run_for(400_000_000)
        assert rig.ask("status")["fault"] in (faults.FLASH_ERROR, faults.STORAGE_FULL)
        rig.ask("works")
        rig.world.run_for(5_000_000)
        assert rig.ask("status")["fault"] == 0
        (run,) = rig.runs()  # late, but whole
        rig.arm([data])
    assert of_kind(run, journal.RUN) and of_kind(run, journal.END)


def test_a_run_that_never_got_a_log_leaves_none_to_be_closed(tmp_path):
    trouble = """
        from box.log import Log
        def opened(self):
            raise MemoryError
        Log.open = opened
        from box.requests import TABLE
        TABLE["waits"] = lambda self, message: {"waits": self._session.account.is_over}
    """
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        with pytest.raises(HandbellError):
            rig.arm([data])
        rig.world.run_for(5_000_000)
        assert not rig.ask("waits")["waits"]


def test_logs_of_a_flash_that_takes_nothing_more_can_be_read(tmp_path):
    trouble = UNTIL_THE_END.replace("ERROR", "5").replace("REOPENING", "1")
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        start = rig.arm([data])
        for n in range(30):
            rig.box.press(0, start + 6_000_000 + n * 500_000)
        rig.world.run_to(start + 30_000_000)
        rig.ask("fails")
        rig.world.run_to(start + 240_000_000)
        assert rig.ask("status")["fault"] == faults.FLASH_ERROR
        (run,) = rig.runs()
    assert len(of_kind(run, journal.TAP)) == 30 and not of_kind(run, journal.END)


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
        at = rig.world.now_us() + 5_000_000
        start_by_hand(rig.box, at, hold_ms=1_600)
        rig.world.run_to(at + 3_000_000)
        assert rig.ask("status")["runs"] == 0
        rig.world.run_to(at + 120_000_000)
        (run,) = rig.runs()
    assert of_kind(run, journal.RUN) and of_kind(run, journal.END)


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
        at = rig.world.now_us() + 5_000_000
        start_by_hand(rig.box, at, hold_ms=1_600)
        for at_s in (50, 51, 52):
            rig.box.press(0, at + at_s * 1_000_000)
        rig.world.run_to(at + 200_000_000)
        (run,) = rig.runs()
        assert rig.ask("status")["fault"] == 0  # in the end all was kept
    notes = [struct.unpack("<HHi", rec[4][:8]) for rec in of_kind(run, journal.NOTE)]
    assert (faults.FLASH_ERROR, 0, 0) in notes
    assert journal.parse(run)[0][0][0] == journal.RUN
    assert len(of_kind(run, journal.TAP)) == 3 and of_kind(run, journal.END)


def test_a_log_that_fails_in_a_way_nobody_thought_of_ends_no_class(tmp_path):
    trouble = """
        from box.log import Log
        whole = Log._into_journal
        def into_journal(self, fresh):
            raise RuntimeError
        def no_tail(self, name):
            raise MemoryError
        from box.storage import Storage
        from box.session import Session
        arm = Session.arm
        def armed(self, start_ms):
            arm(self, start_ms)
            Log._into_journal = into_journal
            Storage.tail_path = no_tail
        Session.arm = armed
    """
    rig, start = play(tmp_path, trouble)
    with rig:
        assert_rang(rig, start)
        assert rig.ask("hello")["boot"] == 1
        assert rig.ask("status")["fault"] == faults.FLASH_ERROR
