"""Measuring a box's clock: the bound holds, and whatever jumps meanwhile is noticed."""

import time
from datetime import datetime, timezone

import pytest
from clock_fakes import UTC_US, Box, Host
from hypothesis import given, settings
from hypothesis import strategies as st

from handbell.base.errors import BoxError
from handbell.boxes.clocks.clock import (
    EXCHANGES,
    EXCHANGES_MOST,
    Clocks,
    Exchange,
    give,
    measure,
    offset_of,
    set_clock,
    wall_ahead,
)
from handbell.boxes.clocks.rate import Rate

HOUR_US = 3_600_000_000


def error_us(sync, box: Box) -> int:
    """By how much the pair of a sync is wrong, from what the fakes know."""
    true_us = (sync.box_us - box.origin_us) / (1 + box.ppm / 1e6) + box.restarted_at_us
    host = box.clock
    return round(sync.utc_us - (host.wall_us + true_us + true_us * host.slew_ppm / 1e6))


@pytest.mark.parametrize("ppm", [0, 30, -30, 200, -200])
def test_the_error_stays_within_the_bound_and_the_bound_is_small(ppm):
    for n in range(40):
        box = Box(Host(), f"e66164084b00{n:04x}", ppm)
        sync = measure(box)
        assert abs(error_us(sync, box)) <= sync.bound_us
        assert sync.bound_us <= 800 and sync.round_us <= 3_200


@given(
    st.lists(st.tuples(*[st.integers(0, 5_000)] * 3), min_size=1, max_size=40),
    st.integers(-(10**12), 10**12),
    st.integers(-200, 200),
)
@settings(deadline=None)
def test_all_exchanges_never_say_less_than_the_shortest_one(delays, apart_us, ppm):
    """Intersecting is never wider than half the shortest round trip, and always right."""
    at, made = 0, []
    for there, busy, back in delays:
        arrived = at + there
        left = arrived + busy
        made.append(
            Exchange(
                at,
                arrived + arrived * ppm // 1_000_000 + apart_us,
                left + left * ppm // 1_000_000 + apart_us,
                left + back,
            )
        )
        at = left + back + 100
    found = offset_of(made)
    assert found is not None
    shortest = min(e.round_us for e in made)
    # 200 ppm of the time that the exchanges took, which the shortest one alone needs less of
    allowed = at * 200 // 1_000_000 + 3
    assert found.bound_us <= shortest / 2 + allowed
    truth_us = (found.box_us - apart_us) / (1 + ppm / 1e6)
    assert abs(found.mono_us - truth_us) <= found.bound_us + 1


def test_ways_there_and_back_may_be_quick_in_different_exchanges():
    quick_there = Exchange(0, 10, 10, 1_000)
    quick_back = Exchange(2_000, 2_990, 2_990, 3_000)
    found = offset_of([quick_there, quick_back])
    # each alone leaves half of 1,000 us; together they leave 10 us each way
    assert found is not None and found.bound_us <= 12
    assert abs(found.mono_us - found.box_us) <= 1


def test_exchanges_that_contradict_each_other_are_refused():
    assert offset_of([Exchange(0, 10, 20, 30), Exchange(100, 5_000, 5_010, 130)]) is None


def test_a_constant_asymmetry_is_not_seen_but_covered():
    box = Box(Host(), delays=lambda: (900, 500, 100))
    sync = measure(box)
    assert abs(error_us(sync, box)) == pytest.approx(400, abs=3)
    assert sync.bound_us == pytest.approx(500, abs=12)


def test_a_poor_cable_gets_more_exchanges_and_a_good_one_no_more_than_it_needs():
    good, poor = Box(Host()), Box(Host(), delays=lambda: (4_000, 500, 4_000))
    measure(good)
    measure(poor)
    assert len(good.asked) == EXCHANGES and len(poor.asked) == EXCHANGES_MOST


@pytest.mark.parametrize("step_us", [HOUR_US, -HOUR_US, 5_000, -5_000])
def test_a_step_of_the_computers_clock_during_a_sync_is_refused(step_us):
    box = Box(Host())
    box.clock.at.append((20_000, lambda: box.clock.step(step_us)))
    with pytest.raises(BoxError, match=r"clock was changed while the box was being set\. Run"):
        measure(box)
    assert box.clock.true_us > 20_000
    measure(box)  # and the next try is fine


@pytest.mark.parametrize("slew_ppm", [500, -500])
def test_a_slew_is_taken_and_its_share_is_in_the_bound(slew_ppm):
    plain = measure(Box(Host(), delays=lambda: (400, 500, 400)))
    host = Host()
    host.slew_ppm = slew_ppm
    box = Box(host, delays=lambda: (400, 500, 400))
    sync = measure(box)
    assert abs(error_us(sync, box)) <= sync.bound_us
    moved_us = host.true_us * 500 // 1_000_000
    assert moved_us > 15 and abs(sync.bound_us - plain.bound_us - moved_us) <= 2


def test_a_small_step_is_in_the_bound():
    box = Box(Host())
    box.clock.at.append((20_000, lambda: box.clock.step(1_500)))
    sync = measure(box)
    assert abs(sync.utc_us - UTC_US - (sync.box_us - box.origin_us)) <= sync.bound_us
    assert sync.bound_us >= 1_500


def test_a_box_that_restarts_during_a_sync_is_refused():
    box = Box(Host())
    box.clock.at.append((20_000, box.restart))
    with pytest.raises(BoxError, match="its clock jumped while it was being set"):
        measure(box)


def test_a_silent_exchange_is_made_anew_and_never_timed_from_a_repeat():
    box = Box(Host())
    box.silent = 3
    sync = measure(box)
    assert abs(error_us(sync, box)) <= sync.bound_us
    assert len(box.asked) == EXCHANGES  # each a request of its own
    box.silent = 99
    with pytest.raises(BoxError, match="does not answer"):
        measure(box)


def test_an_unplugged_box_says_so():
    box = Box(Host())
    box.gone = True
    with pytest.raises(BoxError, match="was unplugged"):
        measure(box)


def test_the_two_clocks_are_read_close_together():
    """The computer turns to something else for 30 ms between two readings, now and then."""

    class Busy(Host):
        def __init__(self) -> None:
            super().__init__()
            self.reads = 0

        def utc_us(self) -> int:
            self.reads += 1
            if self.reads <= 3:
                self.true_us += 30_000
            return super().utc_us()

    host = Busy()
    ahead_us, doubt_us = wall_ahead(host)
    assert abs(ahead_us - (UTC_US - host.start_mono_us)) <= doubt_us <= 20


def test_the_box_is_told_its_rate_and_how_good_it_is():
    box = Box(Host(), ppm=12)
    sync = measure(box)
    rate = Rate(-12_000, 250, 40, 1800, sync.utc_us - 5)
    assert give(box, sync, rate) == rate
    told = box.given
    assert (told["ppb"], told["ppb_bound"], told["rate_utc_us"]) == (-12_000, 250, rate.utc_us)
    assert (told["utc_us"], told["box_us"]) == (sync.utc_us, sync.box_us)


@pytest.mark.parametrize(
    "zone, at, then_s",
    [
        ("Europe/Berlin", datetime(2026, 10, 25, 1, tzinfo=timezone.utc), 3600),
        ("Australia/Lord_Howe", datetime(2026, 10, 3, 15, 30, tzinfo=timezone.utc), 39600),
        ("Asia/Tokyo", None, None),
    ],
)
def test_the_box_is_told_of_the_next_change_of_the_zone(monkeypatch, zone, at, then_s):
    """Changes as in the tz database: Berlin's last Sunday of October, Lord Howe's half hour."""
    monkeypatch.setenv("TZ", zone)
    time.tzset()
    try:
        box = Box(Host())
        give(box, measure(box))
        told = box.given
    finally:
        monkeypatch.undo()
        time.tzset()
    if at is None:
        assert "tz_at_s" not in told and "tz_next_s" not in told
    else:
        assert (told["tz_at_s"], told["tz_next_s"]) == (at.timestamp(), then_s)


def test_without_a_rate_a_box_may_go_by_the_one_it_kept():
    box = Box(Host())
    set_clock(box)
    assert box.given["ppb"] == 0 and "ppb_bound" not in box.given
    assert give(box, measure(box)) is None
    box.kept = {"ppb": 4_000, "ppb_bound": 300, "rate_utc_us": UTC_US - 86_400_000_000}
    rate = give(box, measure(box))
    assert rate is not None and (rate.ppb, rate.bound_ppb) == (4_000, 300)


def test_a_book_that_fails_stops_no_clock_from_being_set():
    from handbell.base.errors import StoreError

    class Broken:
        def add_contact(self, row):
            raise StoreError("The store is busy")

        def contacts_of(self, box_id, since_utc_us):
            raise StoreError("The store is busy")

    host = Host()
    box = Box(host, ppm=20)
    clocks = Clocks(Broken())
    clocks.contact(box, "send")
    host.sleep(600)
    sync = clocks.contact(box, "arm")
    rate, _ = clocks.give(box, sync)
    assert "busy" in clocks.trouble
    assert rate is not None and abs(rate.ppb + 20_000) <= rate.bound_ppb
