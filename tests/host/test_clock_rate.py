"""The rate of a crystal from contacts: right within its bound, robust, and not for ever."""

import random

import pytest
from clock_fakes import UTC_US, Box, Boxes, Host
from hypothesis import given, settings
from hypothesis import strategies as st

from handbell.base.drift import DAY_US, RATE_LASTS_DAYS
from handbell.boxes.clocks.clock import Clocks
from handbell.boxes.clocks.contacts import Contact
from handbell.boxes.clocks.rate import MOST_CONTACTS, estimate, stretches

AHEAD_US = 1_789_000_000_000_000
MINUTE_US = 60_000_000


def contacts(
    ppm: float,
    minutes,
    boot: int = 1,
    bound_us: int = 300,
    noise_us: int = 100,
    at_us: int = UTC_US,
    seed: int = 1,
):
    """Contacts of a box whose crystal is off by ``ppm``, so many minutes after ``at_us``."""
    rng = random.Random(seed)
    found = []
    for minute in minutes:
        gone_us = round(minute * MINUTE_US)
        box_us = 5_000_000 + gone_us + round(gone_us * ppm / 1e6)
        error_us = rng.randint(-noise_us, noise_us)
        found.append(Contact("b", boot, box_us, at_us + gone_us + error_us, bound_us, AHEAD_US))
    return found


def rate_of(some, now_us=None):
    return estimate(some, now_us or max(c.utc_us for c in some)).rate


def true_ppb(ppm: float) -> float:
    return (1 / (1 + ppm / 1e6) - 1) * 1e9


@pytest.mark.parametrize("ppm", [0, 30, -30, 150])
@pytest.mark.parametrize("minutes", [(0, 10), (0, 5, 60), range(0, 30), range(0, 300, 2)])
def test_the_rate_is_right_within_its_bound(ppm, minutes):
    some = contacts(ppm, minutes)
    rate = rate_of(some)
    assert abs(rate.ppb - true_ppb(ppm)) <= rate.bound_ppb
    span_us = some[-1].box_us - some[0].box_us
    assert rate.bound_ppb <= 600e9 / span_us + 1  # never more than what the ends allow
    assert rate.span_s == span_us // 1_000_000
    assert rate.contacts == min(len(some), MOST_CONTACTS)


@given(st.floats(-100, 100), st.lists(st.integers(0, 7200), min_size=3, max_size=30, unique=True))
@settings(deadline=None, max_examples=60)
def test_bounds_that_hold_are_never_broken_by_the_rate(ppm, seconds):
    some = contacts(ppm, [s / 60 for s in sorted(seconds)], noise_us=300, seed=len(seconds))
    found = estimate(some, some[-1].utc_us)
    if found.rate is None:
        assert some[-1].box_us - some[0].box_us < 301_000_000 or found.odd
        return
    # the interval from ranks is a matter of chance (99 %); that from bounds is not
    for a in some:
        for b in some:
            if b.box_us - a.box_us > 300_000_000:
                drift = (b.offset_us - a.offset_us) * 1e9 / (b.box_us - a.box_us)
                doubt = (a.bound_us + b.bound_us) * 1e9 / (b.box_us - a.box_us)
                assert abs(found.rate.ppb - drift) <= doubt + 1


def test_too_short_a_baseline_gives_no_rate_and_says_why():
    found = estimate(contacts(20, (0, 4.9)), UTC_US)
    assert found.rate is None
    assert "at least 5 min apart" in found.why and "the longest stretch is 294 s" in found.why
    assert "there is one" in estimate(contacts(20, (0,)), UTC_US).why
    assert "not measured in the last 30 days" in estimate([], UTC_US).why
    assert rate_of(contacts(20, (0, 5.1))) is not None


def test_an_outlier_is_named_and_left_out():
    some = contacts(20, range(12))
    wrong = some[7]._replace(utc_us=some[7].utc_us + 60_000, what="arm")
    found = estimate([*some[:7], wrong, *some[8:]], UTC_US + DAY_US)
    (odd,) = found.odd
    assert "(arm) does not fit the others" in odd
    assert found.rate.contacts == 11
    assert abs(found.rate.ppb - true_ppb(20)) <= found.rate.bound_ppb


def test_no_pair_of_stretches_crosses_a_restart_or_a_move_of_the_computers_clock():
    some = contacts(20, range(0, 60, 10))
    boots = [c._replace(boot=1 + (n >= 3)) for n, c in enumerate(some)]
    assert [len(s) for s in stretches(boots)] == [3, 3]
    stepped = [
        c._replace(ahead_us=AHEAD_US + 3_600_000_000, utc_us=c.utc_us + 3_600_000_000)
        if n >= 3
        else c
        for n, c in enumerate(some)
    ]
    assert [len(s) for s in stretches(stepped)] == [3, 3]
    for split in (boots, stepped):
        rate = rate_of(split)
        assert rate.span_s == pytest.approx(1200, abs=1)
        assert abs(rate.ppb - true_ppb(20)) <= rate.bound_ppb


def test_a_boots_number_that_comes_again_is_another_boot():
    """Flash that was made anew counts from 1 again; box_us may even fit."""
    old = contacts(20, (0, 10), at_us=UTC_US - 5 * DAY_US)
    new = contacts(20, (20, 30))
    assert [len(s) for s in stretches(old + new)] == [2, 2]
    assert abs(rate_of(old + new).ppb - true_ppb(20)) <= rate_of(old + new).bound_ppb


def test_several_boots_are_one_crystal():
    """Four short stretches on four days, each poor alone, together tell more than the best."""
    days = [
        contacts(17, (0, 6), boot=n, at_us=UTC_US + n * DAY_US, noise_us=150, seed=n)
        for n in range(1, 5)
    ]
    alone = rate_of(days[-1])
    rate = rate_of([c for day in days for c in day])
    assert rate.bound_ppb < alone.bound_ppb * 0.7
    assert rate.contacts == 8
    assert abs(rate.ppb - true_ppb(17)) <= rate.bound_ppb


def test_a_stretch_that_is_another_crystal_is_left_out_and_named():
    good = contacts(17, range(20))
    other = contacts(-40, (0, 7), boot=2, at_us=UTC_US + DAY_US)
    found = estimate(good + other, UTC_US + DAY_US)
    assert abs(found.rate.ppb - true_ppb(17)) <= found.rate.bound_ppb
    assert any("says -40." in odd and "left out" in odd for odd in found.odd)


def test_age_widens_a_rate_and_ends_it():
    some = contacts(17, range(30))
    fresh = rate_of(some)
    old = rate_of(some, some[-1].utc_us + 20 * DAY_US)
    assert old.bound_ppb == pytest.approx(fresh.bound_ppb + 200, abs=2)
    gone = estimate(some, some[-1].utc_us + RATE_LASTS_DAYS * DAY_US + 1)
    assert gone.rate is None and "not measured in the last 30 days" in gone.why


def test_a_rate_that_bends_with_temperature_is_doubted_more():
    """A crystal that changes by 1 ppm over the hour: the middle of it lies within the bound."""
    straight = contacts(10, range(60), noise_us=30)
    bent = [
        c._replace(utc_us=c.utc_us - round(((c.utc_us - UTC_US) / 3.6e9) ** 2 * 1800))
        for c in straight
    ]
    plain, rate = rate_of(straight), rate_of(bent)
    assert rate.bound_ppb > 2 * plain.bound_ppb
    mean_ppb = true_ppb(10) - 1800 / 3600 * 1000 * 59 / 60
    assert abs(rate.ppb - mean_ppb) <= rate.bound_ppb


def test_hundreds_of_contacts_cost_no_more_than_some():
    import time

    some = contacts(5, [n / 4 for n in range(2400)])
    began = time.process_time()
    assert rate_of(some).contacts == MOST_CONTACTS
    assert time.process_time() - began < 0.5


def test_contacts_are_remembered_without_a_book():
    host = Host()
    box = Box(host, ppm=-25)
    clocks = Clocks()
    for _ in range(3):
        sync = clocks.contact(box, "send")
        host.sleep(400)
    rate, found = clocks.give(box, sync)
    assert abs(rate.ppb - true_ppb(-25)) <= rate.bound_ppb and found.odd == []
    assert box.given["ppb"] == rate.ppb


def test_a_host_clock_that_is_off_makes_the_same_error_for_all():
    """50 ppm of the computer's own are in every rate alike: boxes do not part by them."""
    given = {}
    for host_ppm in (0, 50):
        host = Host()
        host.slew_ppm = 0
        boxes = Boxes([Box(host, f"e66164084b00000{n}", ppm=p) for n, p in enumerate((-20, 30), 1)])
        for box in boxes.connections:
            box.ppm -= host_ppm  # seen from a computer that is fast
        clocks = Clocks()
        for _ in range(12):
            syncs = boxes.each(lambda box, clocks=clocks: clocks.contact(box, "calibrate"))
            host.sleep(60)
        assert all(o.error is None for o in syncs)
        rates = [clocks.estimate(b.who.id, host.utc_us()).rate for b in boxes.connections]
        given[host_ppm] = [r.ppb for r in rates]
    apart = [ppbs[0] - ppbs[1] for ppbs in given.values()]
    assert given[50][0] - given[0][0] == pytest.approx(50_000, abs=700)
    assert apart[0] == pytest.approx(apart[1], abs=700)
