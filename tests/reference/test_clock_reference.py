"""Clock figures against outside sources: scipy's slopes, published drift, hearing and sound."""

import math
import random

import pytest
from scipy import stats

from handbell.base.drift import PPB, TEMPERATURE_PPB, TOLERANCE_PPB, drift_us
from handbell.base.robust import theil_sen
from handbell.boxes.clocks.skew import HEARD_US, ClockState, floor_m, heard, worst_skew_us


@pytest.mark.parametrize("count", [2, 3, 5, 8, 20, 61])
@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99])
def test_slope_and_interval_are_scipys(count, confidence):
    # scipy.stats.theilslopes (after Sen 1968), run here. Its interval's index is one off below
    # the first slope when the interval takes in all of them; then both give the extremes.
    rng = random.Random(count)
    x = sorted(rng.sample(range(100_000), count))
    y = [0.3 * a + rng.gauss(0, 50) for a in x]
    found = theil_sen(x, y, confidence)
    theirs = stats.theilslopes(y, x, alpha=confidence)
    assert found.slope == pytest.approx(theirs.slope, abs=1e-12)
    assert (found.low, found.high) == pytest.approx(
        (theirs.low_slope, theirs.high_slope), abs=1e-12
    )


def test_one_late_point_does_not_move_the_slope():
    # x = 0..3600 step 600 s, y = x (1 + 30e-6), the last 0.5 s late: Theil-Sen 30.000 ppm, least
    # squares 119.286 ppm (computed with scipy.stats.theilslopes and linregress).
    x = [float(s) for s in range(0, 3601, 600)]
    y = [30e-6 * s for s in x]
    y[-1] += 0.5
    assert theil_sen(x, y).slope * 1e6 == pytest.approx(30.000, abs=5e-4)
    assert stats.linregress(x, y).slope * 1e6 == pytest.approx(119.286, abs=5e-4)


def test_the_interval_holds_as_often_as_it_says():
    # a property of the method (Sen 1968): 99 % intervals of 400 samples miss 0 to 12 times
    rng = random.Random(7)
    missed = 0
    for _ in range(400):
        y = [rng.uniform(-1, 1) for _ in range(15)]
        found = theil_sen(range(15), y, 0.99)
        missed += not found.low <= 0 <= found.high
    assert missed <= 12


def test_drift_of_the_reference_crystal():
    # Pico data sheet, part ABM8-272-T3: +-30 ppm (quoted). 36 ms in 20 min, 108 ms an hour; two
    # of opposite sign 216 ms an hour, and 20 ms after 333 s (computed).
    assert TOLERANCE_PPB == 30_000
    assert drift_us(30_000, 1200e6) == pytest.approx(36_000)
    assert drift_us(30_000, 3600e6) == pytest.approx(108_000)
    assert 2 * drift_us(30_000, 3600e6) == pytest.approx(216_000)
    assert HEARD_US / (2 * drift_us(30_000, 1e6)) == pytest.approx(333, abs=0.4)


def test_drift_of_a_temperature_compensated_part():
    # DS3231: +-2 ppm at 0 to 40 degrees (data sheet's feature list, quoted): two of them are
    # 14.4 ms an hour apart at worst (computed).
    assert 2 * drift_us(2_000, 3600e6) == pytest.approx(14_400)


def test_a_stated_error_is_the_crystals_and_the_temperatures():
    hour_us = 3_600_000_000
    plain = ClockState(0, 0, None)
    anchor_us = 8 * (30 + 1.5)
    stated = 108_000 + TEMPERATURE_PPB / PPB * hour_us + anchor_us
    assert plain.error_us(hour_us) == pytest.approx(stated, abs=2)
    assert worst_skew_us([plain.error_us(hour_us)] * 3) == 2 * plain.error_us(hour_us)
    # 10 ms after an hour is a spread of 2.8 ppm (design figure, computed)
    assert round(10_000 / 3600, 1) == 2.8


def test_what_people_hear():
    # Two sounds are told apart in order from about 20 ms (Watson 2004, Semin Hear 25(3):219-227,
    # after Hirsh 1959; read, abstract).
    assert HEARD_US == 20_000
    assert heard(20_000) == "" and "which box was first" in heard(20_001)


def test_skew_as_metres_of_floor():
    # Speed of sound 343.2 m/s at 20 degrees: 10 m is 29 ms, 1 m is 2.9 ms (computed).
    assert floor_m(29_138) == pytest.approx(10.0, abs=0.01)
    assert 1e6 / (floor_m(1e6)) == pytest.approx(2914, abs=1)
    # the same from the ideal gas law: 331.3 m/s x sqrt(1 + 20 / 273.15) (from memory)
    assert floor_m(1e6) == pytest.approx(331.3 * math.sqrt(1 + 20 / 273.15), abs=0.1)
