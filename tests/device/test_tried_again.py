"""What fails once, or for some seconds, as a box finds its clock, its plan or what was cut off."""

import binascii
import textwrap

import pytest
from test_past_pending import S, again, long_window, refusal, switched_on
from troubled import troubled, two_windows

from handbell_core import faults, frames, journal
from made import lead_in, window
from rig import Rig, digest, of_kind, start_by_hand, timeline

pytestmark = pytest.mark.usefixtures("micropython")


def failing(where, name, times, error="OSError(5)", start=2, when="True"):
    """Return trouble: from a start of the box on, the first ``times`` calls of a method fail."""
    module, kind = where
    return f"""
        import os, time
        from {module} import {kind}
        whole = {kind}.{name}
        began = time.ticks_us()
        count = len([name for name in os.listdir() if name.startswith("start-")]) + 1
        open("start-%d" % count, "a").close()
        left = [1] * {times} if count == {start} else []
        def failing(self, *a, **k):
            if left and {when}:
                left.pop()
                raise {error}
            return whole(self, *a, **k)
        {kind}.{name} = failing
    """


RUNNER_ANEW = ("box.loaded", "Loaded"), "new_runner"
LISTED = ("box.storage", "Storage"), "timelines"
OPENED = ("box.storage", "Storage"), "open_timeline"
ENDED = ("box.storage", "Storage"), "unfinished"
JOINED = ("box.past", "Past"), "go_on"
PART_READ = ("box.bus", "Bus"), "readfrom_mem"
UNREAD = failing(("box.rtc", "Rtc"), "read_s", 1_000)  # no run that was cut off can be judged


def on_grid(rig, held_us):
    """Return when a class starts that was begun by two holds at ``held_us``."""
    utc = rig.world.clock.start_utc_us
    return -(-(held_us + 6_530_000 + utc) // (30 * S)) * 30 * S - utc


def rung(rig, at_us):
    return [bell for bell in rig.box.sound.bells() if abs(bell - at_us) <= 5_000]


def by_hand(rig):
    at = rig.world.now_us() + 5 * S
    start_by_hand(rig.box, at)
    return at, on_grid(rig, at)


# The clock


def test_one_failed_read_as_the_clock_part_tells_the_time_costs_no_class(tmp_path):
    data = timeline(long_window)
    trouble = failing(*RUNNER_ANEW, 1)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        switched_on(rig, data, 12, soon_us=8 * S)
        assert rig.ask("status")["state"] == "play"


@pytest.mark.parametrize("times", [1, 4])
def test_a_start_by_hand_is_on_the_grid_though_the_clock_came_with_a_failed_read(tmp_path, times):
    data = timeline(two_windows)
    trouble = failing(*RUNNER_ANEW, times)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        rig.world.run_for(8 * S)
        rig.box.cut_power()
        rig.box.power_up()
        rig.world.run_for(11 * S)
        _, start = by_hand(rig)
        rig.world.run_to(start + 10 * S)
        assert rung(rig, start + 5 * S)


def test_a_host_s_clock_that_came_with_a_failed_read_is_taken_all_the_same(tmp_path):
    data = timeline(two_windows)
    trouble = failing(*RUNNER_ANEW, 1, start=1, when="self.keeper.model")
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.world.run_to(start + 10 * S)
        assert rung(rig, start + 5 * S)


@pytest.mark.parametrize("bound_us", [1_000, 2 * S])
def test_a_start_stays_in_utc_though_a_new_clock_came_with_a_failed_read(tmp_path, bound_us):
    """A clock that may be off by two seconds moves no start that was set by a better one."""
    data = timeline(two_windows)
    trouble = failing(("handbell_core.runner", "Runner"), "arm", 1, start=1, when="self.state == 2")
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        start = rig.arm([data], in_s=60)
        ahead_us = 3 * S
        rig.ask(
            "clock",
            utc_us=rig.world.clock.utc_us() + ahead_us,
            box_us=rig.ask("time")["t2"],
            bound_us=bound_us,
            tz_s=0,
        )
        rig.world.run_for(3 * S)
        assert rig.ask("status")["state"] == "set"
        rig.world.run_to(start + 10 * S)
        # Both requests take some ms of the world's time.
        due = start + 5 * S - (ahead_us if bound_us < S else 0)
        assert [bell for bell in rig.box.sound.bells() if abs(bell - due) < 100_000]


@pytest.mark.parametrize("error", ["OSError(5)", "MemoryError"])
def test_a_clock_part_that_did_not_answer_at_the_first_start_is_found(tmp_path, error):
    trouble = failing(*PART_READ, 1, start=1, error=error)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        rig.world.run_for(3 * S)
        assert rig.ask("status")["rtc"] is True


@pytest.mark.parametrize("times", [1, 9])
def test_a_clock_part_that_did_not_answer_just_after_a_cut_costs_no_class(tmp_path, times):
    data = timeline(long_window)
    trouble = failing(*PART_READ, times)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        switched_on(rig, data, 12)
        assert rig.ask("status")["state"] == "cut"
        rig.world.run_for(15 * S)
        assert rig.ask("status")["state"] == "play"


def test_a_part_that_is_not_there_is_not_looked_for_for_ever(tmp_path):
    trouble = """
        import box.keeper
        from box.requests import TABLE
        whole = box.keeper.clock_part
        looked = []
        def clock_part(*a):
            looked.append(1)
            return whole(*a)
        box.keeper.clock_part = clock_part
        TABLE["looked"] = lambda self, message: {"times": len(looked)}
    """
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.world.run_for(25 * S)
        times = rig.ask("looked")["times"]
        rig.world.run_for(1_200 * S)
        assert rig.ask("looked")["times"] == times == 20


# The plan


@pytest.mark.parametrize(("where", "times"), [(LISTED, 1), (LISTED, 6), (OPENED, 12)])
def test_a_plan_that_can_t_be_read_for_some_seconds_is_loaded_then(tmp_path, where, times):
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, failing(*where, times))) as rig:
        rig.send([data])
        rig.box.cut_power()
        rig.box.power_up()
        rig.world.run_for(1 * S)
        if times > 1:
            status = rig.ask("status")
            fault = faults.FLASH_ERROR if where is LISTED else faults.TIMELINE_BROKEN
            assert (status["state"], status["fault"]) == ("empty", fault)
        rig.world.run_for(8 * S)
        status = rig.ask("status")
        assert (status["state"], status["sel"], status["fault"]) == ("ready", digest(data), 0)


@pytest.mark.parametrize("soon_ms", [900, 1_900])
def test_the_chosen_plan_is_waited_for_though_it_can_t_be_read_for_a_moment(tmp_path, soon_ms):
    """Reads that follow one another at once all fall into the same moment: they are 1 s apart."""
    old, new = timeline(lambda: [lead_in(5_000), window(20_000)]), timeline(two_windows)
    soon = f"a[0] == '{digest(old)}' and time.ticks_diff(time.ticks_us(), began) < {soon_ms}_000"
    trouble = failing(*OPENED, 1_000, when=soon)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([old])
        rig.send([new])
        rig.ask("select", d=digest(old))
        again(rig)
        status = rig.ask("status")
        assert (status["state"], status["sel"], status["fault"]) == ("ready", digest(old), 0)


BROKEN = "handbell_core.timeline.FormatError('x')"


@pytest.mark.parametrize(
    ("error", "fault"), [("OSError(5)", faults.FLASH_ERROR), (BROKEN, faults.TIMELINE_BROKEN)]
)
def test_a_plan_that_was_sent_and_can_t_be_loaded_is_refused(tmp_path, error, fault):
    """With what was wrong: one failed read breaks no plan."""
    data = timeline(two_windows)
    trouble = "\n        import handbell_core.timeline" + failing(*OPENED, 1, error, start=1)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        for at in range(0, len(data), frames.CHUNK):
            piece = binascii.b2a_base64(data[at : at + frames.CHUNK], newline=False).decode()
            rig.ask("put", d=digest(data), n=len(data), at=at, b=piece)
        assert refusal(rig, "keep", d=digest(data)) == fault
        rig.ask("keep", d=digest(data))
        assert rig.ask("status")["sel"] == digest(data)


def test_one_failed_read_as_a_plan_is_loaded_fails_no_send(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, failing(*OPENED, 1, start=1))) as rig:
        rig.send([data])
        assert rig.ask("status")["sel"] == digest(data)


# ``sick``: from now on, and in later starts of the box, ``os`` fails at one thing.
OS_FAILS = """
    import box.requests, box.storage, os
    class Os:
        pass
    sick = ["sick" in os.listdir()]
    def failing(*a):
        if sick[0] and a in (("",), (".",), ("runs",)):
            raise OSError(5)
        return os.CALL(*a)
    for name in ("listdir", "mkdir", "remove", "rename", "stat", "statvfs"):
        setattr(Os, name, getattr(os, name))
    Os.CALL = failing
    box.storage.os = Os
    def be_sick(self, message):
        sick[0] = message["on"]
        open("sick", "w").close() if message["on"] else os.remove("sick")
    box.requests.QUIET += ("sick", "shown")
    box.requests.TABLE["sick"] = be_sick
    box.requests.TABLE["shown"] = lambda self, message: {"fault": self._desk._facts.fault}
"""


def test_a_box_whose_free_room_can_t_be_read_says_so_and_shows_it(tmp_path):
    data = timeline(two_windows)
    firmware = troubled(tmp_path, OS_FAILS.replace("CALL", "statvfs"))
    with Rig(tmp_path, firmware=firmware) as rig:
        rig.send([data])
        rig.ask("sick", on=True)
        assert rig.ask("status")["fault"] == faults.FLASH_ERROR
        rig.box.cut_power()
        rig.world.run_for(S)
        rig.box.power_up()
        rig.world.run_for(20 * S)  # the battery and the room have been looked at meanwhile
        status = rig.ask("status")
        assert (status["state"], status["fault"]) == ("ready", faults.FLASH_ERROR)
        assert "erred" not in status
        assert rig.ask("shown")["fault"] == faults.FLASH_ERROR
        assert any(rig.box.screen.pixels())
        rig.ask("sick", on=False)
        rig.world.run_for(2 * S)
        assert rig.ask("shown")["fault"] == rig.ask("status")["fault"] == 0


def test_logs_that_were_not_listed_once_in_class_are_no_fault_of_the_class(tmp_path):
    """Nobody lists them again before it is over."""
    data = timeline(two_windows)
    firmware = troubled(tmp_path, OS_FAILS.replace("CALL", "listdir"))
    with Rig(tmp_path, firmware=firmware) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.world.run_to(start + 10 * S)
        rig.ask("sick", on=True)
        assert rig.ask("status")["fault"] == faults.FLASH_ERROR
        rig.ask("sick", on=False)
        rig.world.run_for(2 * S)
        assert rig.ask("shown")["fault"] == 0
        assert rig.ask("status")["fault"] == 0


def test_how_the_box_is_can_be_asked_though_the_flash_does_not_list_its_logs(tmp_path):
    sick = """
        from box.requests import TABLE
        from box.storage import Storage
        sick = []
        def failing(whole):
            def failing(self):
                if sick:
                    raise OSError(5)
                return whole(self)
            return failing
        Storage.runs, Storage.free_kb = failing(Storage.runs), failing(Storage.free_kb)
        TABLE["sick"] = lambda self, message: sick.append(1)
        TABLE["well"] = lambda self, message: sick.clear()
    """
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, sick)) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.world.run_to(start + 130 * S)
        before = rig.ask("status")
        rig.ask("sick")
        during = rig.ask("status")
        assert before["runs"] == during["runs"] == 1
        assert (before["fault"], during["fault"]) == (0, faults.FLASH_ERROR)
        assert during["kb"] == before["kb"]
        rig.ask("well")
        assert rig.ask("status")["fault"] == 0


def test_the_next_plan_is_found_though_the_flash_can_t_be_listed_as_one_is_erased(tmp_path):
    one, two = timeline(lambda: [lead_in(5_000), window(20_000)]), timeline(two_windows)
    trouble = (
        failing(*LISTED, 1, start=1, when="self.erased")
        + """
        Storage.erased = False
        remove = Storage.remove
        def removed(self, path):
            remove(self, path)
            self.erased = True
        Storage.remove = removed
    """
    )
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([one])
        rig.send([two])
        rig.ask("drop", of="timelines", name=digest(two), d=digest(two))
        rig.world.run_for(3 * S)
        status = rig.ask("status")
        assert (status["state"], status["sel"], status["fault"]) == ("ready", digest(one), 0)


# What was cut off


@pytest.mark.parametrize(("where", "times"), [(LISTED, 1), (OPENED, 3), (OPENED, 12), (ENDED, 6)])
def test_a_class_is_joined_though_what_comes_before_fails_for_some_seconds(tmp_path, where, times):
    data = timeline(long_window)
    trouble = failing(*where, times)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        switched_on(rig, data, 12)
        assert rig.ask("status")["state"] == "cut"
        rig.world.run_for(20 * S)
        assert rig.ask("status")["state"] == "play"


def test_what_can_t_be_read_yet_may_come_back_and_is_given_up_in_the_end(tmp_path):
    data, other = timeline(long_window), timeline(two_windows)
    trouble = failing(*ENDED, 1_000)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([other])
        switched_on(rig, data, 12)
        assert rig.ask("status")["state"] == "cut"
        assert refusal(rig, "select", d=digest(other)) == faults.BUSY
        assert refusal(rig, "disarm") == faults.BUSY
        rig.box.press(0, rig.world.now_us() + S)
        rig.world.run_for(3 * S)
        assert rig.ask("status")["sel"] == digest(data)
        rig.world.run_for(20 * S)
        status = rig.ask("status")
        assert (status["state"], status["fault"]) == ("ready", faults.FLASH_ERROR)
        start = rig.arm([data])
        rig.world.run_to(start + 10 * S)
        assert rig.ask("status")["state"] == "play"


@pytest.mark.parametrize(
    ("error", "fault"), [("OSError(5)", faults.FLASH_ERROR), ("MemoryError", faults.FIRMWARE)]
)
def test_a_class_whose_clock_can_t_be_taken_is_given_up_in_the_end_and_why_is_said(
    tmp_path, error, fault
):
    data = timeline(long_window)
    trouble = failing(*RUNNER_ANEW, 60, error=error)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        switched_on(rig, data, 12)
        assert rig.ask("status")["state"] == "cut"
        rig.world.run_for(35 * S)
        status = rig.ask("status")
        assert (status["state"], status["fault"]) == ("ready", fault)
        assert "size" in rig.ask("list", of="runs", i=0)
        rig.world.run_for(40 * S)
        assert rig.ask("status")["fault"] == 0
        start = rig.arm([data])
        rig.world.run_to(start + 10 * S)
        assert rig.ask("status")["state"] == "play"


@pytest.mark.parametrize(
    ("error", "fault"), [("OSError(5)", faults.FLASH_ERROR), ("MemoryError", faults.FIRMWARE)]
)
@pytest.mark.parametrize("where", [JOINED, ENDED])
def test_a_class_that_can_t_be_joined_is_given_up_in_the_end_and_why_is_said(
    tmp_path, where, error, fault
):
    data = timeline(long_window)
    trouble = failing(*where, 1_000, error=error)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        switched_on(rig, data, 12)
        assert rig.ask("status")["state"] == "cut"
        rig.world.run_for(30 * S)
        status = rig.ask("status")
        assert (status["state"], status["fault"]) == ("ready", fault)
        if error == "OSError(5)":
            start = rig.arm([data])
            rig.world.run_to(start + 10 * S)
            status = rig.ask("status")
            assert (status["state"], status["fault"]) == ("play", 0)  # it is of another class


DAMAGED = """
    import box.storage, os
    from box.requests import TABLE
    from handbell_core.timeline import FormatError
    whole_verify = box.storage.verify
    left = []
    if "sick" in os.listdir():
        with open("sick") as f:
            left += [1] * int(f.read())
    def verify(file):
        if left:
            left.pop()
            raise FormatError("damaged")
        return whole_verify(file)
    box.storage.verify = verify
    box.requests.QUIET += ("sick",)
    def sick(self, message):
        with open("sick", "w") as f:
            f.write(str(message["n"]))
    TABLE["sick"] = sick
"""


def test_a_plan_that_stays_damaged_lets_no_host_wait_for_its_class(tmp_path):
    data, other = timeline(long_window), timeline(two_windows)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, DAMAGED)) as rig:
        rig.send([data])
        rig.world.run_for(8 * S)
        start = rig.arm([data])
        rig.world.run_to(start + 12 * S)
        rig.ask("sick", n=300)
        for _ in range(2):
            rig.box.cut_power()
            rig.world.run_for(2 * S)
            rig.box.power_up()
            rig.world.run_for(4 * S)
            status = rig.ask("status")
            assert (status["state"], status["fault"]) == ("empty", faults.TIMELINE_BROKEN)
            assert "size" in rig.ask("list", of="runs", i=0)
            at = rig.ask("put", d=digest(other), n=len(other), at=0)["at"]
            assert at == 0


def test_a_plan_that_is_gone_lets_no_host_wait_for_its_class(tmp_path):
    """Another one is loaded then, and there is nothing to be mended."""
    data, other = timeline(long_window), timeline(two_windows)
    goes = """
        import os
        from box.requests import TABLE
        TABLE["lose"] = lambda self, message: os.remove(self._storage.find("timelines", message["d"]))
    """
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, goes)) as rig:
        rig.send([other])
        rig.send([data])
        rig.world.run_for(8 * S)
        start = rig.arm([data])
        rig.world.run_to(start + 12 * S)
        rig.ask("lose", d=digest(data))
        rig.box.cut_power()
        rig.world.run_for(2 * S)
        rig.box.power_up()
        rig.world.run_for(4 * S)
        status = rig.ask("status")
        assert (status["state"], status["sel"]) == ("ready", digest(other))
        assert status["fault"] == 0
        assert "size" in rig.ask("list", of="runs", i=0)


def test_a_plan_that_is_read_wrong_once_costs_no_class(tmp_path):
    data = timeline(long_window)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, DAMAGED)) as rig:
        rig.send([data])
        rig.world.run_for(8 * S)
        start = rig.arm([data])
        rig.world.run_to(start + 12 * S)
        rig.ask("sick", n=1)
        again(rig)
        assert rig.ask("status")["state"] == "play"


@pytest.mark.parametrize("minutes", [2, 11])
def test_a_tap_turns_a_page_whenever_it_comes_once_a_class_is_given_up(tmp_path, minutes):
    """The ticks' sign turns every nine minutes."""
    data, other = timeline(long_window), timeline(two_windows)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, UNREAD)) as rig:
        rig.send([other])
        switched_on(rig, data, 12)
        rig.world.run_for(minutes * 60 * S)
        before = rig.box.screen.pixels()
        rig.box.press(0, rig.world.now_us() + S)
        rig.world.run_for(3 * S)
        after = rig.box.screen.pixels()
        assert sum(a != b for a, b in zip(before, after, strict=True)) > 300


# A start by hand

SAVE_FAILS = failing(("box.storage", "Storage"), "save", 1, start=1, when='k.get("start_ms")')
WRITE_FAILS = failing(("box.log", "Log"), "_new_file", 2, start=1)


@pytest.mark.parametrize("trouble", ["", SAVE_FAILS, WRITE_FAILS], ids=["", "save", "log"])
def test_a_start_by_hand_is_found_again_though_it_was_not_kept_at_once(tmp_path, trouble):
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        rig.world.run_for(30 * S)
        _, start = by_hand(rig)
        rig.world.run_to(start - 4 * S)
        rig.box.cut_power()
        rig.world.run_for(500_000)
        rig.box.power_up()
        rig.world.run_to(start + 8 * S)
        assert rig.ask("status")["state"] == "play"
        assert rung(rig, start + 5 * S)


def test_a_start_by_hand_is_kept_only_with_its_log(tmp_path):
    """Its log is what it is found by."""
    not_once = """
        from box.log import Log
        from box.requests import TABLE
        from box.session import Session
        whole, write = Session._keep_start, Log.write
        inside, left, tries = [], [1], []
        def keep_start(self, utc_ms):
            inside.append(1)
            tries.append(1)
            try:
                whole(self, utc_ms)
            finally:
                inside.pop()
        def written(self):
            if inside and left:
                left.pop()
                self._failed(OSError(5))
                return False
            return write(self)
        Session._keep_start, Log.write = keep_start, written
        TABLE["tries"] = lambda self, message: {"n": len(tries)}
    """
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, not_once)) as rig:
        rig.send([data])
        rig.world.run_for(30 * S)
        _, start = by_hand(rig)
        rig.world.run_to(start - 4 * S)
        assert rig.ask("status")["state"] == "set"
        assert rig.ask("tries")["n"] == 2


@pytest.mark.parametrize("later_us", [300_000, 700_000, 1_200_000, 1_600_000])
def test_a_cut_just_after_a_start_by_hand_was_written_finds_it_again(tmp_path, later_us):
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True) as rig:
        rig.send([data])
        rig.world.run_for(30 * S)
        at, start = by_hand(rig)
        rig.world.run_to(at + 1_530_000 + later_us)
        rig.box.cut_power()
        rig.world.run_for(500_000)
        rig.box.power_up()
        rig.world.run_to(start + 8 * S)
        assert rig.ask("status")["state"] == "play"


def test_a_start_by_hand_that_a_full_flash_does_not_keep_is_played_without_a_word(tmp_path):
    data = timeline(two_windows)
    trouble = failing(
        ("box.storage", "Storage"), "save", 1_000, "OSError(28)", 1, 'k.get("start_ms")'
    )
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        rig.world.run_for(30 * S)
        _, start = by_hand(rig)
        rig.world.run_to(start + 8 * S)
        assert "erred" not in rig.ask("status")
        rig.world.run_to(start + 100 * S)
        (run,) = rig.runs()
    assert len(of_kind(run, journal.END)) == 1


# What is left behind


def test_a_log_without_its_end_is_told_though_the_next_one_has_begun(tmp_path):
    first_fails = """
        from box.log import Log
        whole = Log.write
        def write(self):
            if self._used and self._size + self._tail_used and self.name == "00001.hbj":
                self._failed(OSError(5))
                return False
            return whole(self)
        Log.write = write
    """
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, first_fails)) as rig:
        rig.send([data])
        rig.world.run_for(8 * S)
        rig.arm([data], in_s=100)
        assert refusal(rig, "disarm") == faults.FLASH_ERROR
        assert "erred" not in rig.ask("status")
        utc_ms = (rig.world.now_us() + rig.world.clock.start_utc_us + 60 * S) // 1_000
        rig.ask("arm", d=digest(data), utc_ms=utc_ms)
        status = rig.ask("status")
        assert (status["state"], status["fault"]) == ("set", 0)
        assert "log: OSError" in status["erred"]


def test_a_log_whose_end_is_kept_by_the_last_try_of_all_is_no_trouble(tmp_path):
    tries = """
        from box.log import Log
        write, close = Log.write, Log.close
        sick = [1]
        def failing(self):
            if sick and self._ending and self._used:
                self._failed(OSError(5))
                return False
            return write(self)
        def closing(self):
            sick.clear()
            return close(self)
        Log.write, Log.close = failing, closing
    """
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, tries)) as rig:
        rig.send([data])
        rig.world.run_for(8 * S)
        rig.arm([data], in_s=100)
        assert refusal(rig, "disarm") == faults.FLASH_ERROR
        utc_ms = (rig.world.now_us() + rig.world.clock.start_utc_us + 60 * S) // 1_000
        rig.ask("arm", d=digest(data), utc_ms=utc_ms)
        assert "erred" not in rig.ask("status")
        rig.ask("disarm")
        run = rig.runs()[0]
    assert len(of_kind(run, journal.END)) == 1


def test_the_room_that_is_held_back_is_held_again_once_a_log_is_erased(tmp_path):
    drops = """
        from box.requests import TABLE
        TABLE["use"] = lambda self, message: {"n": self._storage.drop_reserve(True)}
    """
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, drops)) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.world.run_to(start + 150 * S)
        assert [rig.ask("use")["n"] for _ in range(3)] == [True, True, False]
        entry = rig.ask("list", of="runs", i=0)
        rig.ask("drop", of="runs", name=entry["name"], d=entry["d"])
        assert [rig.ask("use")["n"] for _ in range(3)] == [True, True, False]


HOLDS_BACK = """
    import box.storage, box.requests, os
    whole_open = open
    sick = []
    class Full:
        def __init__(self, file):
            self.file, self.left = file, 1_000
        def write(self, data):
            if len(data) > self.left:
                raise ERROR
            self.left -= len(data)
            return self.file.write(data)
        def __enter__(self):
            return self
        def __exit__(self, *a):
            self.file.close()
    def opened(path, mode="r"):
        file = whole_open(path, mode)
        return Full(file) if sick and "reserve" in path else file
    box.storage.open = opened
    def held(self, message):
        sizes = [os.stat("runs/" + name)[6] for name in os.listdir("runs") if "reserve" in name]
        return {"sizes": sizes}
    def use(self, message):
        for name in ("reserve", "reserve2"):
            os.remove("runs/" + name)
        sick.append(1)
    box.requests.TABLE["held"], box.requests.TABLE["use"] = held, use
    box.requests.TABLE["cut short"] = lambda self, message: whole_open("runs/reserve", "w").close()
"""


@pytest.mark.parametrize("error", ["OSError(5)", "OSError(28)", "MemoryError()"])
def test_room_that_could_not_be_held_back_is_held_after_the_next_start(tmp_path, error):
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, HOLDS_BACK.replace("ERROR", error))) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.world.run_to(start + 150 * S)
        rig.ask("use")
        entry = rig.ask("list", of="runs", i=0)
        assert rig.ask("drop", of="runs", name=entry["name"], d=entry["d"])["gone"] is True
        assert rig.ask("held")["sizes"] == []  # half of one is no use
        for _ in range(2):
            again(rig)
            assert rig.ask("held")["sizes"] == [8192, 8192]
            rig.ask("cut short")


@pytest.mark.parametrize("before_us", [100_000, 300_000])
def test_a_join_writes_nothing_just_before_a_bell(tmp_path, before_us):
    """The chip stands still as the flash is written; what is due then waits for a gap."""
    near = f"""
        from box.log import Log
        from box.requests import TABLE
        from box.session import Session
        join, write = Session.join, Log.write
        inside, wrote = [], []
        def joined(self, tick):
            inside.append(1)
            try:
                return join(self, tick)
            finally:
                inside.pop()
        def written(self):
            if inside:
                wrote.append(1)
            return write(self)
        Session.room_us = lambda self, tick: {before_us}
        Session.join, Log.write = joined, written
        TABLE["wrote"] = lambda self, message: {{"n": len(wrote)}}
    """
    data = timeline(long_window)
    trouble = 'import os\nif "timelines" in os.listdir() and os.listdir("runs"):\n'
    trouble += "\n".join("    " + line for line in textwrap.dedent(near).split("\n"))
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        rig.world.run_for(8 * S)
        start = rig.arm([data])
        rig.world.run_to(start + 12 * S)
        again(rig)
        assert rig.ask("status")["state"] == "play"
        assert rig.ask("wrote")["n"] == 0
