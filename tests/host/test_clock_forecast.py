"""What arm says of the class ahead: errors, the worst skew, and what would mend it."""

import io

import pytest
from clock_fakes import UTC_US, Box, Boxes, Host

from handbell.base.drift import DAY_US
from handbell.base.errors import HandbellError
from handbell.boxes.classes.arm import Readiness, arm, forecast
from handbell.boxes.classes.loaded import LoadedClass
from handbell.boxes.clocks.clock import Sync
from handbell.boxes.clocks.rate import Rate
from handbell.boxes.clocks.skew import ClockState, calibration_min, cures, worst_skew_us
from handbell.boxes.link.messages import Status
from handbell.cli.commands.in_class.arm import text
from handbell.cli.output import Out
from handbell.work.in_class.arm import Armed, _row, _skew

MINUTE_US = 60_000_000
HOUR_US = 60 * MINUTE_US
AHEAD_US = UTC_US - 5_000_000_000


def rate(bound_ppb: int = 200, ppb: int = 12_000, at_us: int = UTC_US) -> Rate:
    return Rate(ppb, bound_ppb, 60, 1800, at_us)


def row(station: int, known: Rate | None, bound_us: int = 200, slot_ms: int = 3_600_000):
    sync = Sync(UTC_US, 77_000_000, bound_us, 1, AHEAD_US, 800)
    return Readiness(station, f"Box {station}", [], Status(), sync, known, slot_ms=slot_ms)


def test_the_error_grows_with_time_and_with_what_is_not_known():
    known, unknown = ClockState(UTC_US, 200, rate()), ClockState(UTC_US, 200, None)
    assert known.error_us(UTC_US) == 200
    # an hour: 0.2 ppm of doubt and 1.5 of temperature are 6.1 ms; 8 s at 13.7 ppm are 0.1 ms
    assert known.error_us(UTC_US + HOUR_US) == pytest.approx(200 + 6_120 + 110, abs=3)
    assert unknown.error_us(UTC_US + HOUR_US) == pytest.approx(200 + 113_400 + 252, abs=3)
    older = ClockState(UTC_US, 200, rate(at_us=UTC_US - 20 * DAY_US))
    assert older.error_us(UTC_US + HOUR_US) - known.error_us(UTC_US + HOUR_US) == pytest.approx(
        200 * 3.6, abs=3
    )


def test_a_clock_part_bounds_what_the_crystal_does():
    # DS3231 type: +-2 ppm (data sheet), 7.2 ms an hour; the crystal's own 8 s stay
    part = ClockState(UTC_US, 200, None, rtc=True)
    assert part.error_us(UTC_US + HOUR_US) == pytest.approx(200 + 7_200 + 500 + 252, abs=3)
    known = ClockState(UTC_US, 200, rate(), rtc=True)
    assert known.error_us(UTC_US + HOUR_US) == ClockState(UTC_US, 200, rate()).error_us(
        UTC_US + HOUR_US
    )
    table = [row(n, None) for n in (1, 2)]
    for one in table:
        one.status = Status(clock_part=True)
    assert forecast(table, UTC_US // 1000).end_skew_us < 20_000


def test_the_worst_skew_is_the_two_worst_boxes_against_each_other():
    assert worst_skew_us([5, 1, 9, 3]) == 14
    assert worst_skew_us([5]) == 0 and worst_skew_us([]) == 0


def test_a_calibrated_set_is_in_step_and_needs_no_cure():
    seen = forecast([row(n, rate()) for n in range(1, 25)], UTC_US // 1000 + 60_000)
    assert seen.end_skew_us < 15_500 and seen.cures == []
    assert set(seen.end_us) == set(range(1, 25))
    assert seen.start_skew_us < 1_000


def test_an_uncalibrated_set_is_told_to_calibrate_and_for_how_long():
    table = [row(n, None) for n in (1, 2)]
    seen = forecast(table, UTC_US // 1000 + 60_000)
    assert seen.end_skew_us > 200_000
    (cure,) = seen.cures
    assert "handbell boxes --calibrate 10" in cure
    # and that long is enough by what the ends alone allow
    minutes = calibration_min([r.clock for r in table], HOUR_US)
    better = rate(bound_ppb=round(2 * 200e3 / (minutes * 60)))
    assert forecast([row(n, better) for n in (1, 2)], UTC_US // 1000).end_skew_us <= 20_000


def test_a_poor_cable_needs_a_longer_calibration():
    short, long = (
        calibration_min([row(1, None, bound_us).clock], HOUR_US) for bound_us in (200, 1_500)
    )
    assert short == 10 and 30 <= long <= 120
    assert calibration_min([row(1, None, 200).clock], 4 * HOUR_US) == 0, "no calibration is enough"


def test_boxes_armed_hours_ahead_are_told_to_be_plugged_in_again():
    start_us = UTC_US + 5 * HOUR_US
    (cure,) = cures([row(n, rate()).clock for n in (1, 2)], UTC_US, start_us, start_us + HOUR_US)
    assert "Plug the boxes in again just before the class" in cure


def test_a_start_far_ahead_gets_one_remedy_that_suffices():
    """Ten minutes of calibrating keep no box in step over thirteen hours."""
    start_us = UTC_US + 13 * HOUR_US
    clocks = [row(n, None).clock for n in (1, 2)]
    (cure,) = cures(clocks, UTC_US, start_us, start_us + 2 * MINUTE_US)
    assert "Plug the boxes in again just before the class" in cure and "calibrate" not in cure
    (cure,) = cures(clocks, UTC_US, start_us, start_us + HOUR_US)
    assert "--calibrate 10, and arm again just before the class" in cure


@pytest.mark.parametrize("waited_us", [0, 10 * MINUTE_US])
def test_what_is_told_of_the_end_holds_with_the_waiting_that_is_named(waited_us):
    table = [row(n, known) for n, known in enumerate((rate(), None), 1)]
    seen = forecast(table, UTC_US // 1000)
    end_us = UTC_US + table[0].slot_ms * 1000 + waited_us
    assert worst_skew_us([one.clock.error_us(end_us) for one in table]) <= seen.end_skew_us
    assert "as long as gates and waits take 10 min at most" in printed(table)


def test_a_class_too_long_for_any_calibration_says_so():
    clocks = [row(n, rate()).clock for n in (1, 2)]
    (cure,) = cures(clocks, UTC_US, UTC_US + MINUTE_US, UTC_US + 5 * HOUR_US)
    assert "in a pause" in cure and "for 5.0 h" in cure


def test_one_unknown_box_among_known_ones_spoils_the_set_and_is_named():
    table = [row(1, rate()), row(2, None), row(3, rate())]
    seen = forecast(table, UTC_US // 1000)
    assert seen.end_us[2] > 10 * seen.end_us[1]
    told = printed(table).splitlines()
    assert "(rate not known)" in told[1] and "rate not known" not in told[0] + told[2]
    assert "ms at the start" in told[0] and "ms at the end" in told[0]


def test_a_box_that_is_not_ready_is_not_reckoned_with():
    missing = Readiness(3, "Station 3", ["is not plugged in"])
    seen = forecast([row(1, rate()), row(2, rate()), missing], UTC_US // 1000)
    assert set(seen.end_us) == {1, 2}
    assert forecast([missing], UTC_US // 1000).cures == []


def printed(table, start_ms: int = UTC_US // 1000, words: str = "", ahead_s: float = 60) -> str:
    """What arming says of boxes that were all set."""
    seen = forecast(table, start_ms)
    rows = tuple(_row(one, seen, False) for one in table)
    out = io.StringIO()
    text(
        Armed(True, "Harbour", start_ms, words, ahead_s, rows, _skew(seen), (), "", (), False),
        Out(out),
    )
    return out.getvalue()


def test_what_is_heard_is_said_in_metres_of_floor_and_what_is_not_is_left_alone():
    loud = printed([row(n, None) for n in (1, 2)])
    assert "m of floor; from about 20 ms, 7 m, people hear which box was first" in loud
    assert "--calibrate" in loud
    quiet = printed([row(n, rate()) for n in (1, 2)])
    assert "at most" in quiet and "floor" not in quiet
    assert "apart" not in printed([row(1, None)]), "one box can't part"


def test_the_start_says_the_day_and_how_far_ahead_it_is():
    start_ms = UTC_US // 60_000_000 * 60_000 + 86_400_000
    told = printed([row(1, rate())], start_ms, "There is no 02:30 that day", 86_400)
    assert "There is no 02:30 that day.\nHarbour starts at " in told
    assert " on " in told and "in 24 h 0 min. You may unplug the boxes." in told


@pytest.mark.parametrize("ahead_s, may", [(4.0, False), (9.9, False), (10.0, True)])
def test_nobody_is_told_to_pull_a_cable_seconds_before_the_bell(ahead_s, may):
    told = printed([row(1, rate())], ahead_s=ahead_s)
    assert ("You may unplug the boxes." in told) is may
    assert ("Leave the boxes until it begins." in told) is not may


@pytest.mark.parametrize("move_us", [3_600_000_000, -3_600_000_000, 50_000])
def test_no_box_is_started_when_the_computers_clock_moved_after_they_were_set(move_us):
    host = Host()
    fleet = Boxes([Box(host, f"e66164084b00000{n}") for n in (1, 2)])
    sync = Sync(host.utc_us(), 1, 200, 1, host.utc_us() - host.mono_us(), 800)
    table = [Readiness(n, f"Box {n}", sync=sync) for n in (1, 2)]
    sent = LoadedClass.of(
        "Class", {1: "aa", 2: "bb"}, {n: c.who.id for n, c in enumerate(fleet.connections, 1)}
    )
    arm(fleet, table, sent, UTC_US // 1000 + 60_000)
    assert all([a["do"] for a in box.asked] == ["arm", "status"] for box in fleet.connections)
    for box in fleet.connections:
        box.asked.clear()
    host.step(move_us)
    with pytest.raises(HandbellError, match=r"Nothing was started: this computer's clock was"):
        arm(fleet, table, sent, UTC_US // 1000 + 60_000)
    assert not any(box.asked for box in fleet.connections)


def test_a_box_unplugged_between_its_sync_and_the_start_takes_the_start_back_on_all():
    host = Host()
    fleet = Boxes([Box(host, f"e66164084b00000{n}") for n in (1, 2)])
    sync = Sync(host.utc_us(), 1, 200, 1, host.utc_us() - host.mono_us(), 800)
    table = [Readiness(n, f"Box {n}", sync=sync) for n in (1, 2)]
    ids = {n: box.who.id for n, box in enumerate(fleet.connections, 1)}
    fleet.connections[1].gone = True
    with pytest.raises(HandbellError, match=r"Nothing was started: Box 0002: was unplugged"):
        arm(fleet, table, LoadedClass.of("Class", {1: "aa", 2: "bb"}, ids), UTC_US // 1000 + 60_000)
    assert [asked["do"] for asked in fleet.connections[0].asked if asked["do"] != "status"] == [
        "arm",
        "disarm",
    ]
