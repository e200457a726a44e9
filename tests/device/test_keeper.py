"""A box's clock: what it keeps over a reboot, what it refuses, and how it joins a class again."""

import datetime
import random
import struct
import sys
import time
import types

import pytest

from handbell.base.errors import BoxError
from handbell.boxes.classes.collect import collect
from handbell.store import open_store
from handbell_core import faults, journal
from made import ASK_TARGET, GATE, lead_in, rest, span, window
from rig import Rig, digest, of_kind, reps, start_by_hand, timeline

pytestmark = pytest.mark.usefixtures("micropython")

HOUR_US = 3_600_000_000


def class_of(spans=None):
    return timeline(
        spans
        or (
            lambda: [
                lead_in(5_000),
                window(20_000, ask=ASK_TARGET, goal=30),
                rest(10_000),
                window(20_000),
                rest(10_000),
                window(20_000),
            ]
        )
    )


def set_clock(rig, ago_us=0, off_us=0, **more):
    """Set the box's clock ``off_us`` ahead, as measured ``ago_us`` ago, and return the reply."""
    with rig.connect() as connection:
        reply = connection.request("time")
        return connection.request(
            "clock",
            utc_us=rig.world.clock.utc_us() - ago_us + off_us,
            box_us=reply["t3"] - ago_us,
            bound_us=500,
            **{"tz_s": 3600, **more},
        )


def refusal(rig, do, **fields):
    with pytest.raises(BoxError) as caught:
        rig.ask(do, **fields)
    return caught.value.code


# The rate


def test_the_rate_outlives_a_reboot(tmp_path):
    rate_utc_us = 1_700_000_000_000_000
    with Rig(tmp_path, ppm=25) as rig:
        said = set_clock(rig, ppb=-25_000, ppb_bound=400, rate_utc_us=rate_utc_us)
        assert said["ppb"] == -25_000
        rig.box.cut_power()
        rig.box.power_up()
        said = set_clock(rig)  # a host that knows no rate
        assert (said["ppb"], said["ppb_bound"]) == (-25_000, 400)
        rig.world.run_for(HOUR_US)
        assert rig.ask("status")["bound_us"] < 10_000  # 2 ppm of an hour, and what it was


def test_without_a_rate_the_error_grows_as_a_crystal_may_be_off(tmp_path):
    with Rig(tmp_path) as rig:
        said = set_clock(rig)
        assert "ppb" not in said
        rig.world.run_for(20 * 60_000_000)
        # 30 ppm is 36 ms in 20 min (computed); a temperature's 1.5 ppm on top.
        assert 36_000 <= rig.ask("status")["bound_us"] <= 39_500


def test_an_old_rate_is_not_believed(tmp_path):
    month_us = 31 * 24 * HOUR_US
    with Rig(tmp_path) as rig:
        rate_utc_us = rig.world.clock.utc_us() - month_us
        assert "ppb" not in set_clock(rig, ppb=9_000, ppb_bound=400, rate_utc_us=rate_utc_us)
        rig.world.run_for(60_000_000)
        assert rig.ask("status")["bound_us"] > 500 + 60 * 30  # what a crystal may be off


def test_the_same_rate_again_costs_no_erase(tmp_path):
    rate = {"ppb": 8_000, "ppb_bound": 300, "rate_utc_us": 1_700_000_000_000_000}
    with Rig(tmp_path) as rig:
        set_clock(rig, **rate)
        rig.world.run_for(2_000_000)
        before = rig.box.flash.erases, rig.box.flash.programs
        for _ in range(5):
            set_clock(rig, **rate)
        assert (rig.box.flash.erases, rig.box.flash.programs) == before


# Arming


def test_a_clock_that_may_be_off_too_far_is_not_armed(tmp_path):
    data = class_of()
    with Rig(tmp_path) as rig:
        rig.send([data])
        set_clock(rig)
        rig.world.run_for(12 * 60_000_000)
        start_ms = rig.world.clock.utc_us() // 1000 + 60_000
        assert refusal(rig, "arm", d=digest(data), utc_ms=start_ms) == faults.CLOCK_UNSURE
        set_clock(rig, ago_us=13 * HOUR_US)
        start_ms = rig.world.clock.utc_us() // 1000 + 60_000
        assert refusal(rig, "arm", d=digest(data), utc_ms=start_ms) == faults.CLOCK_OLD


# The clock part


def rejoined(tmp_path, spans=None, cut_s=20.0, off_s=6.0, taps=(), set_ahead_s=8, **spec):
    """Play a class on two boxes, one with a clock part whose power fails; return (rig, start)."""
    data = class_of(spans)
    rig = Rig(tmp_path, boxes=2, rtc=True, **spec)
    both = [data, timeline(spans, 2) if spans else data]
    rig.send(both)
    rig.world.run_for(set_ahead_s * 1_000_000)  # the part is set and held against the clock
    start = rig.arm(both, in_s=10)
    for box in rig.world.boxes:
        box.unplug()
    for at in taps:
        rig.box.press(0, start + int(at * 1e6))
    rig.world.run_to(start + int(cut_s * 1e6))
    rig.box.cut_power()
    rig.world.run_to(start + int((cut_s + off_s) * 1e6))
    rig.box.power_up()
    return rig, start


def bells_after(box, at_us):
    return [b for b in box.sound.bells() if b > at_us]


@pytest.mark.parametrize("rtc_ppb", [-2_000, 2_000])
def test_a_box_with_a_clock_part_joins_again_in_step(tmp_path, rtc_ppb):
    taps = [6, 7, 8, 9, 10, 22, 27.5, 28.5, 29.5]
    rig, start = rejoined(tmp_path, cut_s=14, off_s=2, taps=taps, rtc_ppb=rtc_ppb, ppm=20)
    with rig:
        rig.world.run_to(start + 200_000_000)
        ours, theirs = (bells_after(box, start + 20_000_000) for box in rig.world.boxes)
        # Switching on rings nothing, so from then on both ring the same bells.
        assert len(ours) == len(theirs)
        apart = [abs(a - b) for a, b in zip(ours, theirs, strict=True)]
        assert max(apart) < 5_000
        rig.box.plug_in()
        (run,) = rig.runs()
    counts = reps(run)
    assert counts[7, 1] == 6  # five before the cut, one after
    states = [rec[4][1] for rec in of_kind(run, journal.STATE)]
    assert journal.BY_CLOCK in states
    end = of_kind(run, journal.END)[0]
    assert struct.unpack("<BBHII", end[4])[4] == 6 + 3  # every tap of the run


def test_the_store_counts_the_same_over_a_power_failure(tmp_path):
    rig, start = rejoined(tmp_path, cut_s=14, off_s=2, taps=[6, 7, 8, 22, 23])
    with rig:
        rig.world.run_to(start + 200_000_000)
        rig.box.plug_in()
        (run,) = rig.runs()
        with rig.fleet() as fleet, open_store(str(tmp_path / "s.sqlite")) as store:
            outcomes = {o.url: o for o in collect(fleet, store)}
        outcome = outcomes[rig.box.url]
    assert outcome.error is None and outcome.value.new == 1
    assert reps(run)[7, 1] == 5


def test_it_joins_at_a_gate_where_the_others_wait(tmp_path):
    def spans():
        return [lead_in(5_000), window(10_000), span(GATE, 0), window(20_000)]

    with rejoined(tmp_path, spans, cut_s=8, off_s=12)[0] as rig:
        rig.world.run_for(5_000_000)
        rig.box.plug_in()
        assert rig.ask("status")["state"] == "gate"


def test_a_start_that_was_set_is_kept_over_a_power_failure(tmp_path):
    rig, start = rejoined(tmp_path, cut_s=-8, off_s=2)
    with rig:
        rig.world.run_to(start + 80_000_000)
        ours, theirs = (bells_after(box, start - 1_000_000) for box in rig.world.boxes)
        assert len(ours) == len(theirs)
        assert max(abs(a - b) for a, b in zip(ours, theirs, strict=True)) < 5_000


def test_a_class_that_is_over_is_not_joined(tmp_path):
    with rejoined(tmp_path, cut_s=20, off_s=300)[0] as rig:
        rig.world.run_for(10_000_000)
        rig.box.plug_in()
        status = rig.ask("status")
        assert status["state"] == "ready" and status["clock"] is True


def test_without_a_clock_part_it_asks_for_a_start_by_hand_and_says_why(tmp_path):
    data = class_of()
    with Rig(tmp_path) as rig:
        rig.send([data])
        start = rig.arm([data])
        rig.box.unplug()
        rig.world.run_to(start + 12_000_000)
        rig.box.cut_power()
        rig.box.power_up()
        rig.world.run_for(6_000_000)
        shown = rig.box.screen.pixels()
        start_by_hand(rig.box, rig.world.now_us() + 4_000_000)
        rig.world.run_for(15_000_000)
        rig.box.plug_in()
        assert rig.ask("status")["state"] == "play"
        assert shown != rig.box.screen.pixels()


def test_a_part_whose_oscillator_stood_still_is_not_believed(tmp_path):
    with Rig(tmp_path, rtc=True, rtc_lost=True) as rig:
        rig.world.run_for(5_000_000)
        assert rig.ask("status")["clock"] is False
        set_clock(rig)
        rig.world.run_for(8_000_000)
        rig.box.cut_power()
        rig.world.run_for(60_000_000)
        rig.box.power_up()
        rig.world.run_for(5_000_000)
        status = rig.ask("status")
        assert status["clock"] is True and status["bound_us"] < 2_000


def test_the_part_disciplines_the_crystal(tmp_path):
    with Rig(tmp_path, rtc=True, ppm=40) as rig:
        set_clock(rig)
        rig.world.run_for(HOUR_US)
        with rig.connect() as connection:
            reply = connection.request("status")
        # 40 ppm would be 144 ms in an hour; what is known by the part is 2 ppm and its share
        # of the first minutes.
        assert reply["bound_us"] < 15_000


def rate_error_ppm(rig, true_ppm):
    """Return by how much the rate that the box goes by is wrong, from its own clock records."""
    rig.box.unplug()
    start_by_hand(rig.box, rig.world.now_us() + 4_000_000)
    rig.world.run_for(400_000_000)
    rig.box.plug_in()
    run = rig.runs()[-1]
    rates = [struct.unpack("<qi", rec[4])[1] for rec in of_kind(run, journal.OWN)]
    return abs(rates[-1] / 1000 + true_ppm)  # how much faster UTC runs than the box


def test_a_clock_set_anew_after_hours_still_learns_the_right_rate(tmp_path):
    data = class_of(lambda: [lead_in(5_000), window(300_000)])
    with Rig(tmp_path, rtc=True, ppm=150) as rig:
        rig.send([data])
        rig.world.run_for(5 * HOUR_US // 4)  # 150 ppm of it are 0.68 s: more than half a second
        set_clock(rig)
        rig.world.run_for(200_000_000)
        assert rate_error_ppm(rig, 150) < 3


def test_a_part_that_is_set_anew_does_not_spoil_the_rate(tmp_path):
    data = class_of(lambda: [lead_in(5_000), window(300_000)])
    with Rig(tmp_path, rtc=True, ppm=20) as rig:
        rig.send([data])
        rig.world.run_for(200_000_000)
        with rig.connect() as connection:  # another computer, whose clock is 1.4 s ahead
            box_us = connection.request("time")["t3"]
            utc_us = rig.world.clock.utc_us() + 1_400_000
            fields = {"utc_us": utc_us, "box_us": box_us, "bound_us": 500, "tz_s": 0}
            connection.request("clock", **fields)
        rig.world.run_for(400_000_000)
        assert rate_error_ppm(rig, 20) < 4


# A clock set in class


def eight_windows():
    pairs = [(window(20_000), rest(10_000)) for _ in range(8)]
    return [lead_in(5_000), *(made for pair in pairs for made in pair)]


@pytest.mark.parametrize("off_us", [-400_000, 400_000])
def test_a_clock_set_in_class_moves_no_bell_though_a_part_disciplines_it(tmp_path, off_us):
    data = class_of(eight_windows)
    with Rig(tmp_path, rtc=True, ppm=30) as rig:
        rig.send([data])
        rig.world.run_for(8_000_000)  # the part is set and held against the clock
        start = rig.arm([data])
        rig.world.run_to(start + 8_000_000)
        set_clock(rig, off_us=off_us)
        rig.world.run_to(start + 300_000_000)
        bells = [bell - start for bell in rig.box.sound.bells() if bell > start]
        (run,) = rig.runs()
    for n in range(8):
        due_us = 5_000_000 + n * 30_000_000
        assert min(abs(bell - due_us) for bell in bells) < 10_000, n
    # Its journal tells the clock that the run went by.
    utc = [struct.unpack("<qI", rec[4])[0] for rec in of_kind(run, journal.UTC)]
    own = [struct.unpack("<qi", rec[4])[0] for rec in of_kind(run, journal.OWN)]
    zeros = [a - b for a, b in zip(utc, own, strict=True)]
    assert len(zeros) > 1 and max(zeros) - min(zeros) < 50_000


def test_a_clock_set_in_class_is_the_box_s_when_the_class_is_over(tmp_path):
    data = class_of(eight_windows)
    with Rig(tmp_path, rtc=True, ppm=30) as rig:
        rig.send([data])
        rig.world.run_for(8_000_000)
        start = rig.arm([data])
        rig.world.run_to(start + 8_000_000)
        set_clock(rig, off_us=400_000)
        rig.world.run_to(start + 400_000_000)
        start_ms = rig.world.clock.utc_us() // 1000 + 60_000
        rig.ask("arm", d=digest(data), utc_ms=start_ms)
        rung_us = (start_ms - 400) * 1000 - rig.world.clock.start_utc_us + 5_000_000
        rig.world.run_for(80_000_000)
        # The clock was set while time flowed, so to within what this machine takes for it.
        assert min(abs(bell - rung_us) for bell in rig.box.sound.bells()) < 150_000


def test_the_hour_on_the_screen_is_right_after_a_change_of_summer_time(tmp_path):
    with Rig(tmp_path) as rig:
        rig.send([class_of()])
        utc_s = rig.world.clock.utc_us() // 1_000_000
        pictures = []
        for zone in (
            {"tz_s": 3600, "tz_at_s": utc_s + 20, "tz_next_s": 7200},
            {"tz_s": 7200, "tz_at_s": utc_s + 10_000_000, "tz_next_s": 3600},
            {"tz_s": 3600},
        ):
            set_clock(rig, **zone)
            rig.ask("arm", d=digest(class_of()), utc_ms=(utc_s + 600) * 1000)
            rig.world.run_to(rig.world.now_us() + 20_000_000)
            pictures.append(rig.box.screen.pixels()[: 128 * 11])  # the line with the hour
            rig.ask("disarm")
        assert pictures[0] == pictures[1] != pictures[2]


def test_who_sets_a_clock_is_told_that_this_has_set_the_part(tmp_path):
    with Rig(tmp_path, rtc=True) as rig:
        rig.world.run_for(3_000_000)
        assert set_clock(rig)["part"] == 1
        assert "part" not in set_clock(rig)
        assert set_clock(rig, off_us=5_000_000)["part"] == 1


def test_who_moves_a_clock_by_a_minute_or_more_is_told_by_how_much(tmp_path):
    with Rig(tmp_path) as rig:
        assert "moved_s" not in set_clock(rig)
        assert "moved_s" not in set_clock(rig, off_us=5_000_000)
        assert set_clock(rig, off_us=3_600_000_000)["moved_s"] in (3594, 3595)
        assert "moved_s" not in set_clock(rig, off_us=3_600_000_000)
        assert set_clock(rig)["moved_s"] in (-3601, -3600)


def test_a_part_set_for_the_first_time_just_before_an_arming_lets_the_box_join_again(tmp_path):
    with rejoined(tmp_path, cut_s=14, off_s=2, set_ahead_s=0)[0] as rig:
        rig.world.run_for(5_000_000)
        rig.box.plug_in()
        assert rig.ask("status")["state"] == "play"


@pytest.mark.parametrize(
    "wrong",
    [
        {"bound_us": "x"},
        {"bound_us": -1},
        {"bound_us": 1 << 32},
        {"utc_us": 1 << 70},
        {"utc_us": -1},
        {"box_us": 1 << 63},
        {"box_us": None},
        {"tz_s": 1 << 40},
        {"tz_s": 1e300},
        {"tz_at_s": 1 << 40},
        {"tz_next_s": 1e300},
        {"ppb": 2_000_000, "ppb_bound": 1, "rate_utc_us": 0},
        {"ppb": 2_000, "ppb_bound": -1, "rate_utc_us": 0},
        {"ppb": 2_000, "ppb_bound": 1 << 40, "rate_utc_us": 0},
        {"ppb": 2_000, "ppb_bound": 1, "rate_utc_us": 1 << 70},
        {"ppb": 2_000, "ppb_bound": 1},
    ],
)
def test_a_clock_that_can_t_be_is_refused_and_changes_nothing(tmp_path, wrong):
    data = class_of()
    with Rig(tmp_path, rtc=True) as rig:
        rig.send([data])
        rig.world.run_for(8_000_000)
        utc_us = rig.world.clock.utc_us()
        fields = {"utc_us": utc_us, "box_us": 0, "bound_us": 500, "tz_s": 7200} | wrong
        assert refusal(rig, "clock", **fields) == faults.BAD_REQUEST
        rig.world.run_for(10_000_000)
        start = rig.arm([data])
        rig.world.run_to(start + 130_000_000)
        assert rig.ask("status")["fault"] == 0
        (run,) = rig.runs()
    assert of_kind(run, journal.END)


# The part's calendar, against Python's


class Registers:
    def __init__(self):
        self.memory = bytearray(0x13)

    def readfrom_mem(self, address, at, size):
        return bytes(self.memory[at : at + size])

    def writeto_mem(self, address, at, data):
        self.memory[at : at + len(data)] = data


class Pin:
    IRQ_FALLING = 4

    def irq(self, *_, **__):
        pass


@pytest.fixture
def part(monkeypatch):
    monkeypatch.setitem(sys.modules, "box", types.ModuleType("box"))
    from pathlib import Path

    import handbell.virtual.spec as spec

    sys.modules["box"].__path__ = [str(Path(spec.firmware_root()) / "box")]
    monkeypatch.setattr(time, "ticks_us", lambda: 0, raising=False)
    from box.rtc import Rtc

    return Rtc(Registers(), Pin())


def test_its_calendar_is_the_civil_one(part):
    rng = random.Random(5)
    days = [datetime.datetime(2000, 2, 28), datetime.datetime(2024, 2, 29)]
    days += [datetime.datetime(2099, 12, 31), datetime.datetime(2027, 3, 1)]
    days += [
        datetime.datetime(2000, 1, 1) + datetime.timedelta(seconds=rng.randrange(3_155_673_600))
        for _ in range(3_000)
    ]
    for day in days:
        utc_s = int(day.replace(tzinfo=datetime.timezone.utc).timestamp())
        part.write(utc_s)
        raw = part._bus.memory
        assert part.read_s() == utc_s
        assert [f"{raw[n]:02x}" for n in (0, 1, 2, 4, 5, 6)] == day.strftime(
            "%S %M %H %d %m %y"
        ).split(), day
        assert 1 <= raw[3] <= 7


# The part set anew, and the power gone


@pytest.mark.parametrize("off_us", [-7_200_000_000, -700_000, 700_000, 7_200_000_000])
@pytest.mark.parametrize("after_us", [30_000, 400_000, 1_300_000, 2_500_000, 3_400_000])
def test_a_box_switched_off_just_after_its_clock_was_put_right_keeps_the_right_one(
    tmp_path, off_us, after_us
):
    data = class_of()
    with Rig(tmp_path, rtc=True) as rig:
        rig.send([data])
        set_clock(rig, off_us=off_us)  # by another computer
        rig.world.run_for(8_000_000)
        start = rig.arm([data], in_s=30)
        rig.world.run_for(after_us)
        rig.box.cut_power()
        rig.world.run_for(500_000)
        rig.box.power_up()
        rig.world.run_for(5_000_000)
        status = rig.ask("status")
        assert status["state"] == "set" and status["bound_us"] < 20_000
        rig.world.run_to(start + 2_000_000)
        assert min(abs(bell - start) for bell in rig.box.sound.bells()) < 60_000
