"""Settings that can't be read as a box starts: read again like all else, and never written over."""

import pytest
from test_past_pending import SOON_US, S, long_window, refusal
from troubled import troubled, two_windows

from handbell_core import faults
from rig import Rig, digest, timeline

pytestmark = pytest.mark.usefixtures("micropython")

# ``sick``: so many reads of the settings fail in the next start of the box, or ``now``.
UNREAD = """
    import box.requests, box.storage, os
    whole_open = open
    left = []
    if "sick" in os.listdir():
        with whole_open("sick") as f:
            left += [ERROR] * int(f.read())
        os.remove("sick")
    def opened(path, mode="r"):
        if left and path.endswith("box.json") and mode in ("r", "rb"):
            raise left.pop()
        return whole_open(path, mode)
    def sick(self, message):
        if message["now"]:
            left[:] = [ERROR] * message["n"]
        else:
            with whole_open("sick", "w") as f:
                f.write(str(message["n"]))
    box.storage.open = opened
    box.requests.QUIET += ("sick",)
    box.requests.TABLE["sick"] = sick
"""
FOR_EVER = 1_000
NAME = 7, "Row"


def unread(folder, error="OSError(5)"):
    return troubled(folder, UNREAD.replace("ERROR", error))


def named(rig, data, other):
    """Let a box with a name hold two plans, and have chosen the older one."""
    rig.send([data])
    rig.send([other])
    rig.world.run_for(8 * S)
    rig.ask("name", station=NAME[0], label=NAME[1])
    rig.ask("select", d=digest(data))


def name_of(rig):
    hello = rig.ask("hello")
    return hello["station"], hello["label"]


def start_anew(rig, reads, run_us):
    """Switch the box off and on; so many reads of its settings fail then."""
    rig.ask("sick", n=reads, now=0)
    rig.box.cut_power()
    rig.world.run_for(2 * S)
    rig.box.power_up()
    rig.world.run_for(run_us)


@pytest.mark.parametrize("error", ["OSError(5)", "MemoryError()"])
@pytest.mark.parametrize("reads", [2, 3, 12])
@pytest.mark.parametrize("played_s", [None, 12])
def test_a_class_comes_back_though_the_settings_can_t_be_read_for_some_seconds(
    tmp_path, played_s, reads, error
):
    data, other = timeline(long_window), timeline(two_windows)
    with Rig(tmp_path, rtc=True, firmware=unread(tmp_path, error)) as rig:
        named(rig, data, other)
        boot = rig.ask("hello")["boot"]
        start = rig.arm([data], in_s=10 if played_s else 300)
        rig.world.run_to(start + played_s * S) if played_s else rig.world.run_for(20 * S)
        start_anew(rig, reads, SOON_US)
        if reads > 3:
            status = rig.ask("status")
            assert (status["state"], status["fault"]) == ("cut", faults.FLASH_ERROR)
        rig.world.run_for(20 * S)
        status = rig.ask("status")
        assert (status["state"], status["fault"]) == ("play" if played_s else "set", 0)
        assert name_of(rig) == NAME
        assert rig.ask("hello")["boot"] == boot + 1


@pytest.mark.parametrize("error", ["OSError(28)", "MemoryError()"])
def test_a_count_of_starts_that_can_t_be_written_keeps_no_box_from_starting(tmp_path, error):
    data, other = timeline(long_window), timeline(two_windows)
    fails = f"""
    from box.storage import Storage
    write = Storage.write
    once = [1]
    def written(self, name, data):
        if name == "box.json" and "was" in os.listdir() and once:
            once.pop()
            raise {error}
        return write(self, name, data)
    Storage.write = written
    box.requests.TABLE["was"] = lambda self, message: whole_open("was", "w").close()
    """
    firmware = troubled(tmp_path, UNREAD.replace("ERROR", error) + fails)
    with Rig(tmp_path, rtc=True, firmware=firmware) as rig:
        named(rig, data, other)
        boot = rig.ask("hello")["boot"]
        rig.ask("was")
        start_anew(rig, 0, 8 * S)
        assert (rig.ask("status")["state"], name_of(rig)) == ("ready", NAME)
        assert rig.ask("hello")["boot"] == boot + 1


def test_the_plan_chosen_last_is_loaded_though_the_settings_can_t_be_read_at_once(tmp_path):
    data, other = timeline(long_window), timeline(two_windows)
    with Rig(tmp_path, rtc=True, firmware=unread(tmp_path)) as rig:
        named(rig, data, other)
        start_anew(rig, 4, 10 * S)
        status = rig.ask("status")
        assert (status["state"], status["sel"], status["fault"]) == ("ready", digest(data), 0)
        assert status["clock"] is True


def test_settings_that_can_t_be_read_for_long_are_told_and_stay_as_they_were(tmp_path):
    data, other = timeline(long_window), timeline(two_windows)
    with Rig(tmp_path, rtc=True, firmware=unread(tmp_path)) as rig:
        named(rig, data, other)
        boot = rig.ask("hello")["boot"]
        start_anew(rig, FOR_EVER, 30 * S)
        status = rig.ask("status")
        assert (status["state"], status["fault"]) == ("ready", faults.FLASH_ERROR)
        rig.ask("select", d=digest(other))
        utc_ms = rig.world.clock.utc_us() // 1_000 + 60_000
        bound_us, tz_s, box_us = 1_000, 0, rig.ask("time")["t2"]
        rig.ask("clock", utc_us=utc_ms * 1_000, box_us=box_us, bound_us=bound_us, tz_s=tz_s)
        start = {"d": digest(other), "utc_ms": utc_ms + 60_000}
        assert refusal(rig, "arm", **start) == faults.FLASH_ERROR  # it could not be kept
        assert rig.ask("list", of="runs", i=0)["n"] == 0
        rig.ask("sick", n=0, now=1)
        rig.ask("select", d=digest(data))
        assert name_of(rig) == NAME
        assert rig.ask("hello")["boot"] == boot + 1
        assert rig.ask("status")["fault"] == 0
        start_anew(rig, 0, 8 * S)
        assert name_of(rig) == NAME
        assert rig.ask("hello")["boot"] == boot + 2
        assert rig.ask("status")["sel"] == digest(data)


@pytest.mark.parametrize("reads", [1, FOR_EVER])
def test_a_name_that_was_refused_takes_no_name_s_place(tmp_path, reads):
    """With one failing read, the next one finds the settings."""
    data, other = timeline(long_window), timeline(two_windows)
    with Rig(tmp_path, rtc=True, firmware=unread(tmp_path)) as rig:
        named(rig, data, other)
        start_anew(rig, FOR_EVER, 30 * S)
        rig.ask("sick", n=reads, now=1)
        assert refusal(rig, "name", station=9, label="x") == faults.FLASH_ERROR
        rig.ask("sick", n=0, now=1)
        rig.ask("select", d=digest(other))
        assert name_of(rig) == NAME
        start_anew(rig, 0, 8 * S)
        assert name_of(rig) == NAME


def test_no_log_is_erased_while_it_is_not_known_whether_its_start_is_still_set(tmp_path):
    """A later log may get its name."""
    data, other = timeline(long_window), timeline(two_windows)
    with Rig(tmp_path, rtc=True, firmware=unread(tmp_path)) as rig:
        named(rig, data, other)
        start = rig.arm([data], in_s=10)
        rig.world.run_to(start + 12 * S)
        start_anew(rig, FOR_EVER, 30 * S)
        entry = rig.ask("list", of="runs", i=0)
        fields = {"of": "runs", "name": entry["name"], "d": entry["d"]}
        assert refusal(rig, "drop", **fields) == faults.FLASH_ERROR
        rig.ask("sick", n=0, now=1)
        rig.ask("drop", **fields)
        assert rig.ask("list", of="runs", i=0)["n"] == 0
