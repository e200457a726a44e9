"""What the power cut off and may come back: hosts hear of it, and end it for good or not at all."""

import pytest
from troubled import troubled, two_windows

from handbell.base.errors import BoxError
from handbell.boxes.classes.collect import collect
from handbell.store import open_store
from handbell_core import faults, journal
from made import lead_in, window
from rig import Rig, digest, of_kind, timeline

pytestmark = pytest.mark.usefixtures("micropython")

S = 1_000_000
SOON_US = 300_000  # the box runs, and its clock part has not told the time yet
# The clock part answers nothing that matters: no run that was cut off can be judged.
MUTE = """
    from box.rtc import Rtc
    Rtc.has_ticked = False
    Rtc.ticked = lambda self: False
"""
TELLS_START = """
    from box.requests import TABLE
    TABLE["start"] = lambda self, message: {"ms": self._storage.settings["start_ms"]}
"""

# From one request on the flash takes nothing, until the other one.
SICK = """
    import box.log, box.storage
    whole_open = open
    write = box.log.Log.write
    sick = []
    def opened(path, mode="r"):
        if sick and mode not in ("r", "rb"):
            raise OSError(5)
        return whole_open(path, mode)
    def written(self):
        if sick and self._file is not None:
            self._file.close()
        return write(self)
    box.storage.open = box.log.open = opened
    box.log.Log.write = written
    import box.requests
    box.requests.QUIET += ("sick", "well")
    box.requests.TABLE["sick"] = lambda self, message: sick.append(1)
    box.requests.TABLE["well"] = lambda self, message: sick.clear()
"""


def long_window():
    return [lead_in(5_000), window(400_000)]


def switched_on(rig, data, played_s=None, off_s=3, soon_us=SOON_US):
    """Cut a start that is set, or a class after ``played_s``; return it just after power is back."""
    rig.send([data])
    rig.world.run_for(8 * S)
    start = rig.arm([data], in_s=300 if played_s is None else 10)
    rig.world.run_to(start + played_s * S) if played_s is not None else rig.world.run_for(20 * S)
    rig.box.cut_power()
    rig.world.run_for(off_s * S)
    rig.box.power_up()
    rig.world.run_for(soon_us)
    return start


def again(rig, off_s=2):
    """Switch the box off and on, and let it find what it may."""
    rig.box.cut_power()
    rig.world.run_for(off_s * S)
    rig.box.power_up()
    rig.world.run_for(8 * S)


def refusal(rig, do, **fields):
    with pytest.raises(BoxError) as caught:
        rig.ask(do, **fields)
    return caught.value.code


@pytest.mark.parametrize("played_s", [None, 12])
def test_what_may_come_back_is_said(tmp_path, played_s):
    data = timeline(long_window)
    with Rig(tmp_path, rtc=True) as rig:
        switched_on(rig, data, played_s)
        status = rig.ask("status")
        assert (status["state"], status["runs"]) == ("cut", 0)
        rig.world.run_for(5 * S)
        assert rig.ask("status")["state"] == ("set" if played_s is None else "play")


@pytest.mark.parametrize("soon_us", [20_000, SOON_US, 900_000, 3 * S])
def test_a_start_that_is_taken_back_just_after_the_power_is_back_never_comes(tmp_path, soon_us):
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True) as rig:
        start = switched_on(rig, data, soon_us=soon_us)
        rig.ask("disarm")
        rig.world.run_for(5 * S)
        assert rig.ask("status")["state"] == "ready"
        again(rig)
        assert rig.ask("status")["state"] == "ready"
        rig.world.run_to(start + 10 * S)
        assert not [bell for bell in rig.box.sound.bells() if bell > start - S]
        (run,) = rig.runs()
    assert len(of_kind(run, journal.END)) == 1


@pytest.mark.parametrize("played_s", [None, 12])
@pytest.mark.parametrize("do", ["select", "keep"])
def test_another_plan_that_is_sent_then_stays(tmp_path, do, played_s):
    data, other = timeline(long_window), timeline(two_windows)
    with Rig(tmp_path, rtc=True) as rig:
        rig.send([other])
        switched_on(rig, data, played_s)
        rig.ask(do, d=digest(other))
        for _ in range(2):
            again(rig)
            status = rig.ask("status")
            assert (status["state"], status["sel"]) == ("ready", digest(other))


def test_a_class_that_may_come_back_is_no_start_to_be_taken_back(tmp_path):
    data = timeline(long_window)
    with Rig(tmp_path, rtc=True) as rig:
        switched_on(rig, data, 12)
        assert refusal(rig, "disarm") == faults.BUSY
        rig.world.run_for(5 * S)
        assert rig.ask("status")["state"] == "play"


def test_a_start_set_anew_takes_the_place_of_one_that_may_come_back(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True) as rig:
        old = switched_on(rig, data)
        start = rig.arm([data], in_s=60)
        assert start < old
        again(rig)
        status = rig.ask("status")
        assert status["utc_ms"] * 1_000 - rig.world.clock.start_utc_us == start
        rig.world.run_to(start + 100 * S)
        assert rig.ask("status")["state"] in ("over", "ready")
        again(rig)
        assert rig.ask("status")["state"] == "ready"


@pytest.mark.parametrize("played_s", [None, 12])
def test_the_log_of_what_may_come_back_is_open_and_not_erased(tmp_path, played_s):
    data = timeline(long_window)
    with Rig(tmp_path, rtc=True) as rig:
        start = switched_on(rig, data, played_s)
        entry = rig.ask("list", of="runs", i=0)
        assert entry["open"] is True and "d" not in entry
        assert refusal(rig, "drop", of="runs", name=entry["name"], d="00" * 12) == faults.BUSY
        rig.world.run_to(max(start + 30 * S, rig.world.now_us()))
        assert rig.ask("status")["state"] == "play"


def test_collecting_just_then_leaves_the_log_and_says_why(tmp_path):
    data = timeline(long_window)
    with Rig(tmp_path, rtc=True) as rig:
        start = switched_on(rig, data)
        with rig.fleet() as fleet, open_store(str(tmp_path / "s.sqlite")) as store:
            (outcome,) = collect(fleet, store)
        assert outcome.error is None and (outcome.value.new, outcome.value.open) == (0, 1)
        rig.world.run_to(start + 10 * S)
        assert rig.ask("status")["state"] == "play"
    assert "again in a minute" in " ".join(outcome.value.notes)


def test_what_can_t_be_judged_is_given_up_and_its_log_can_be_had(tmp_path):
    data = timeline(long_window)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, MUTE)) as rig:
        switched_on(rig, data, 12)
        assert rig.ask("status")["state"] == "cut"
        rig.world.run_for(62 * S)
        assert rig.ask("status")["state"] == "ready"
        (run,) = rig.runs()
        entry = rig.ask("list", of="runs", i=0)
        assert rig.ask("drop", of="runs", name=entry["name"], d=entry["d"])["gone"] is True
    assert not of_kind(run, journal.END)


def test_a_start_that_could_not_be_judged_is_taken_back_all_the_same(tmp_path):
    mute_once = """
        import os
        from box.rtc import Rtc
        whole = Rtc.ticked
        mute = "cut" in os.listdir()
        if mute:
            os.remove("cut")
        if mute:
            Rtc.has_ticked = False
        Rtc.ticked = lambda self: not mute and whole(self)
        from box.requests import TABLE
        TABLE["cut"] = lambda self, message: open("cut", "w").close()
    """
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, mute_once)) as rig:
        rig.ask("cut")
        rig.send([data])
        rig.world.run_for(8 * S)
        rig.arm([data], in_s=600)
        rig.ask("cut")
        rig.box.cut_power()
        rig.box.power_up()
        rig.world.run_for(62 * S)
        rig.ask("disarm")
        again(rig)
        assert rig.ask("status")["state"] == "ready"


def test_an_end_that_the_flash_does_not_take_is_no_yes(tmp_path):
    fails = """
        from box.storage import Storage
        def give_up(self, name):
            raise OSError(5)
        Storage.give_up = give_up
    """
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, fails)) as rig:
        switched_on(rig, data)
        assert refusal(rig, "disarm") == faults.FLASH_ERROR
        rig.world.run_for(5 * S)
        assert rig.ask("status")["state"] == "set"


@pytest.mark.parametrize("do", ["disarm", "select", "keep"])
def test_a_start_is_taken_back_only_once_the_flash_has_its_end(tmp_path, do):
    data, other = timeline(two_windows), timeline(long_window)
    fields = {} if do == "disarm" else {"d": digest(other)}
    tells = SICK + TELLS_START
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, tells)) as rig:
        rig.send([other])
        rig.send([data])
        rig.world.run_for(8 * S)
        start = rig.arm([data], in_s=300)
        rig.ask("sick")
        for _ in range(3):
            assert refusal(rig, do, **fields) == faults.FLASH_ERROR
        assert "name" in rig.ask("list", of="runs", i=0)  # what can be read can be had
        rig.ask("well")
        rig.ask(do, **fields)
        assert rig.ask("start")["ms"] == 0
        again(rig)
        assert (rig.ask("status")["state"], rig.ask("start")["ms"]) == ("ready", 0)
        rig.world.run_to(start + 10 * S)
        assert rig.ask("status")["state"] == "ready"
        (run,) = rig.runs()
    assert len(of_kind(run, journal.END)) == 1


def test_a_log_that_waited_too_long_gets_its_end_before_another_plan_is_taken(tmp_path):
    data, other = timeline(long_window), timeline(two_windows)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, SICK)) as rig:
        rig.send([other])
        rig.send([data])
        rig.world.run_for(8 * S)
        rig.arm([data], in_s=100)
        rig.ask("sick")
        assert refusal(rig, "disarm") == faults.FLASH_ERROR
        assert refusal(rig, "select", d=digest(other)) == faults.FLASH_ERROR
        rig.world.run_for(130 * S)  # the log waits for its end no longer
        assert refusal(rig, "select", d=digest(other)) == faults.FLASH_ERROR
        rig.ask("well")
        rig.ask("select", d=digest(other))
        again(rig)
        status = rig.ask("status")
        assert (status["state"], status["sel"]) == ("ready", digest(other))


@pytest.mark.parametrize("do", ["select", "keep"])
def test_a_plan_that_is_refused_for_an_end_that_waits_is_not_loaded(tmp_path, do):
    data, other = timeline(two_windows), timeline(long_window)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, SICK)) as rig:
        rig.send([other])
        rig.send([data])
        rig.world.run_for(8 * S)
        rig.arm([data], in_s=300)
        rig.ask("sick")
        for _ in range(2):
            assert refusal(rig, do, d=digest(other)) == faults.FLASH_ERROR
            status = rig.ask("status")
            assert (status["state"], status["sel"]) == ("ready", digest(data))
        rig.ask("well")
        rig.ask(do, d=digest(other))
        assert rig.ask("status")["sel"] == digest(other)


@pytest.mark.parametrize("do", ["select", "keep"])
def test_a_plan_that_is_refused_for_what_was_cut_off_is_not_loaded(tmp_path, do):
    """With no clock it stays cut off for a minute, and then has no end yet."""
    data, other = timeline(two_windows), timeline(long_window)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, MUTE + SICK)) as rig:
        rig.send([data])
        rig.send([other])  # which a tap turns to
        switched_on(rig, data, 12)
        rig.world.run_for(62 * S)
        rig.ask("sick")
        assert refusal(rig, do, d=digest(other)) == faults.FLASH_ERROR
        status = rig.ask("status")
        assert (status["state"], status["sel"]) == ("ready", digest(data))
        rig.box.press(0, rig.world.now_us() + S)
        rig.world.run_for(3 * S)
        assert rig.ask("status")["sel"] == digest(other)  # no no to who stands at the box


def test_an_arming_that_is_refused_takes_no_start_back(tmp_path):
    data, other = timeline(two_windows), timeline(long_window)
    with Rig(tmp_path, rtc=True) as rig:
        rig.send([other])
        rig.send([data])
        rig.world.run_for(8 * S)
        rig.arm([data], in_s=300)
        now_ms = rig.world.clock.utc_us() // 1_000
        for ahead_ms, fault in ((1_000, faults.TOO_LATE), (4 * 86_400_000, faults.TOO_FAR)):
            assert refusal(rig, "arm", d=digest(other), utc_ms=now_ms + ahead_ms) == fault
        status = rig.ask("status")
        assert (status["state"], status["sel"]) == ("set", digest(data))


def test_a_plan_that_is_not_here_takes_no_start_back(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True) as rig:
        rig.send([data])
        rig.world.run_for(8 * S)
        rig.arm([data], in_s=300)
        assert refusal(rig, "select", d="00" * 12) == faults.NOT_FOUND
        assert rig.ask("status")["state"] == "set"


@pytest.mark.parametrize("same", [True, False])
def test_a_start_may_follow_one_whose_end_the_flash_did_not_take(tmp_path, same):
    """Its log takes the place of the older one."""
    ends = """
        from box.account import Account
        whole = Account._close
        def close(self, last):
            if last:
                whole(self, last)
        Account._close = close
    """
    data, other = timeline(two_windows), timeline(long_window)
    second = data if same else other
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, ends)) as rig:
        rig.send([other])
        rig.send([data])
        rig.world.run_for(8 * S)
        rig.arm([data], in_s=300)
        assert refusal(rig, "disarm") == faults.FLASH_ERROR
        utc = rig.world.clock.start_utc_us
        utc_ms = (rig.world.now_us() + utc + 120 * S) // 1_000
        rig.ask("arm", d=digest(second), utc_ms=utc_ms)
        again(rig)
        status = rig.ask("status")
        assert (status["state"], status["sel"]) == ("set", digest(second))
        assert status["utc_ms"] == utc_ms


def test_settings_that_the_flash_did_not_take_are_written_with_the_next_ones(tmp_path):
    data, other = timeline(two_windows), timeline(long_window)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, SICK)) as rig:
        rig.send([other])
        rig.send([data])
        rig.ask("name", station=1, label="one")
        rig.ask("sick")
        rig.ask("select", d=digest(other))  # which other one is loaded is not worth a no
        assert refusal(rig, "name", station=2, label="two") == faults.FLASH_ERROR
        hello = rig.ask("hello")
        assert (hello["station"], hello["label"]) == (1, "one")
        rig.ask("well")
        rig.ask("select", d=digest(other))
        again(rig)
        hello = rig.ask("hello")
        assert rig.ask("status")["sel"] == digest(other)
        assert (hello["station"], hello["label"]) == (1, "one")


# How often a class is joined


def test_a_box_that_joins_every_class_of_its_life_goes_on_joining(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True) as rig:
        rig.send([data])
        rig.world.run_for(8 * S)
        for number in range(11):
            start = rig.arm([data])
            rig.world.run_to(start + 12 * S)
            rig.box.cut_power()
            rig.world.run_for(S)
            rig.box.power_up()
            rig.world.run_to(start + 90 * S)
            rung = [bell for bell in rig.box.sound.bells() if bell > start + 15 * S]
            assert len(rung) >= 3, number
            entry = rig.ask("list", of="runs", i=0)
            rig.ask("drop", of="runs", name=entry["name"], d=entry["d"])


def test_a_start_is_found_again_as_often_as_the_power_fails(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path, rtc=True) as rig:
        rig.send([data])
        rig.world.run_for(8 * S)
        start = rig.arm([data], in_s=600)
        for _ in range(11):
            again(rig)
            assert rig.ask("status")["state"] == "set"
        rig.world.run_to(start + 10 * S)
        assert rig.ask("status")["state"] == "play"


def test_a_class_that_cuts_itself_off_is_left_after_eight_times_and_joined_later(tmp_path):
    data = timeline(long_window)
    with Rig(tmp_path, rtc=True) as rig:
        switched_on(rig, data, 12, soon_us=8 * S)
        for _ in range(7):
            assert rig.ask("status")["state"] == "play"
            again(rig)
        assert rig.ask("status")["state"] == "play"
        again(rig)
        assert rig.ask("status")["state"] == "ready"
        rig.world.run_for(60 * S)
        again(rig)
        assert rig.ask("status")["state"] == "play"


def test_who_plays_on_for_a_minute_each_time_is_joined_as_often_as_it_is_cut(tmp_path):
    data = timeline(lambda: [lead_in(5_000), window(1_800_000)])
    with Rig(tmp_path, rtc=True) as rig:
        switched_on(rig, data, 12, soon_us=70 * S)
        for _ in range(10):
            again(rig)
            assert rig.ask("status")["state"] == "play"
            rig.world.run_for(62 * S)


def test_a_start_of_an_erased_log_is_not_taken_for_that_of_the_next(tmp_path):
    """Its name is given again; a start by hand without a clock tells no time of its own."""
    data = timeline(long_window)
    tells = MUTE + TELLS_START
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, tells)) as rig:
        switched_on(rig, data)
        rig.world.run_for(62 * S)
        entry = rig.ask("list", of="runs", i=0)
        rig.ask("drop", of="runs", name=entry["name"], d=entry["d"])
        assert rig.ask("start")["ms"] == 0
