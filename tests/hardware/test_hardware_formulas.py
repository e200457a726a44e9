"""The hardware's formulas against figures from outside, each with its source."""

import math

import pytest

from hardware import formulas as f


@pytest.mark.parametrize("bus_pf, most_ohm", [(100, 3540.7), (200, 1770.3), (400, 885.2)])
def test_largest_pull_up(bus_pf, most_ohm):
    # NXP UM10204, section on pull-ups: tr / (0.8473 Cb), fast mode, 300 ns (quoted, computed).
    assert f.pull_up_most_ohm(300, bus_pf) == pytest.approx(most_ohm, abs=0.05)


def test_least_pull_up_leaves_no_value_at_400_pf():
    # UM10204: (VDD - VOL) / IOL at 3.3 V and 3 mA (quoted, computed).
    assert f.pull_up_least_ohm(3.3) == pytest.approx(966.7, abs=0.05)
    assert f.pull_up_least_ohm(3.3) > f.pull_up_most_ohm(300, 400)


def test_a_maximum_takes_the_e24_value_below_it():
    assert f.e24_below(1770.3) == 1600  # common practice: never round a maximum up
    assert f.e24_below(3540.7) == 3300
    assert f.e24_below(1000) == 1000


def test_e24_is_the_librarys():
    # IEC 60063 as carried by eseries 1.2.1.
    eseries = pytest.importorskip("eseries", reason="eseries carries the series of IEC 60063")
    theirs = list(eseries.erange(eseries.E24, 1, 1_000_000))
    assert all(f.is_e24(value) for value in theirs)
    for step in range(2_000):
        ohm = 10 ** (step / 2_000 * 5.9)
        below = eseries.find_less_than_or_equal(eseries.E24, ohm)
        assert f.e24_below(ohm) == pytest.approx(below, rel=1e-9), ohm
        near = min(theirs, key=lambda value, ohm=ohm: abs(value - ohm))
        assert f.is_e24(ohm) == math.isclose(near, ohm, rel_tol=1e-9)


@pytest.mark.parametrize("load_ma, hours", [(25, 80), (50, 40), (90, 22.2)])
def test_runtime_is_capacity_by_current(load_ma, hours):
    # 2000 mAh, capacity x derating / current (computed).
    assert f.runtime_h(2.0, 1.0, load_ma) == pytest.approx(hours, abs=0.05)


def test_alkaline_capacity_falls_as_measured(data):
    # Alkaline AA: 2.1 to 2.2 Ah at 100 mA, 1.3 Ah at 500 mA (read, measured curves).
    cell = next(battery for battery in data["battery"] if battery["name"] == "aa")
    args = cell["capacity_ah"], cell["at_ma"]
    assert 2.1 <= f.capacity_ah(*args, 100, cell["load_exponent"]) <= 2.2
    assert f.capacity_ah(*args, 500, cell["load_exponent"]) == pytest.approx(1.3, abs=0.01)


@pytest.mark.parametrize("metres, just_mm, easy_mm", [(3, 13.1, 17.5), (5, 21.8, 29.1)])
def test_character_heights(metres, just_mm, easy_mm):
    # NUREG-0700: at least 15, preferred 20 minutes of arc (read; heights computed).
    assert f.legible_m(just_mm, f.JUST_ARCMIN) == pytest.approx(metres, rel=0.005)
    assert f.legible_m(easy_mm, f.EASY_ARCMIN) == pytest.approx(metres, rel=0.005)


@pytest.mark.parametrize("inch, easy_m", [("0.96", 1.9), ("1.3", 2.5), ("2.42", 4.7)])
def test_displays_reach_as_far_as_is_told(box, inch, easy_m):
    # One full-height digit at 20 minutes of arc; panel sizes from memory.
    display = next(option for option in box.display if option.inch == inch)
    assert f.legible_m(display.high_mm, 20) == pytest.approx(easy_m, abs=0.05)


@pytest.mark.parametrize("level_db, minutes", [(85, 480), (94, 60), (100, 15)])
def test_safe_minutes(level_db, minutes):
    # NIOSH criteria for noise: 480 / 2^((L - 85) / 3) (read).
    assert f.safe_minutes(level_db) == pytest.approx(minutes)


def test_a_loud_class_is_most_of_a_days_dose():
    # 93.1 dB(A), Beach & Nie 2014 (read), for 45 min: 60.9 % of a day's dose (computed).
    assert 45 / f.safe_minutes(93.1) == pytest.approx(0.609, abs=0.001)


def test_levels():
    # Free field: 6 dB for twice as far (common practice); -10 dBV is 0.316 V (definition).
    assert f.level_at_db(80, 1, 2) == pytest.approx(73.98, abs=0.01)
    assert f.level_of_power_db(84, 0.5) == pytest.approx(80.99, abs=0.01)
    assert f.dbv(0.3162) == pytest.approx(-10, abs=0.01)


def test_a_capacitor_sags_and_stores_as_it_is_defined():
    # Q = C U and E = C U^2 / 2 (definitions): 1 A for 1 ms is 1 mC, 1 V of 1000 uF.
    assert f.sag_v(1_000, 1_000, 1_000_000) == pytest.approx(1.0)
    assert f.stored_j(1_000_000, 10) == pytest.approx(0.05)
    # From 1 V to 1 / e in one time constant: 10 k and 100 nF are 1 ms.
    assert f.empties_us(10_000, 100, 1, 1 / math.e) == pytest.approx(1_000)


def test_a_pulse_behind_a_capacitor_in_the_plain_cases():
    # Nothing lost: no series resistor, a diode that loses nothing, a capacitor beyond measure.
    assert f.coupled_high_v(3.2, 0, 22_000, 1e9, 0, 9, 18) == pytest.approx(3.2)
    # Divided in half by two equal resistors, of what the diode leaves: twice 0.3 V are kept.
    assert f.coupled_high_v(3.2, 1_000, 1_000, 1e9, 0.3, 9, 1e9) == pytest.approx((3.2 - 0.6) / 2)


def test_settling_against_an_integrated_circuit():
    # The same charge of 100 nF through 3.2 kOhm by scipy's solver.
    integrate = pytest.importorskip("scipy.integrate", reason="scipy integrates the circuit")
    ohm, farad, past_v = 3_200, 100e-9, 2.0

    def charged(_, volt):
        return volt[0] - past_v

    charged.terminal = True
    run = integrate.solve_ivp(
        lambda _, volt: [(3.3 - volt[0]) / ohm / farad], (0, 0.01), [0.0], events=charged, rtol=1e-9
    )
    assert f.settle_us(ohm, 100, 0, 3.3, past_v) == pytest.approx(run.t[-1] * 1e6, rel=1e-5)
