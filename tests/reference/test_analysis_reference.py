"""Formulas against worked examples from outside, general libraries, and each other."""

import math
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from handbell.analysis.fade import decrement
from handbell.analysis.past.load import Deviation, Rated, monotony, session_load, strain, weeks_of
from handbell.analysis.trend import trend_of
from handbell.base.robust import chance, false_discovery, quartiles, spread, theil_sen

VALUES = st.lists(st.integers(1, 500), min_size=2, max_size=12)


def test_pace_of_the_published_example_of_times():
    # Glaister et al. 2008, J Strength Cond Res 22(5):1597-1601 (quoted): six sprints, total 26.35,
    # ideal 25.68, 2.6090 % (computed) of times. Of the same as paces the mean of times is their
    # harmonic mean and the best is held against it: a little less, and never over 100.
    times = [4.31, 4.28, 4.36, 4.42, 4.47, 4.51]
    assert math.isclose(100 * sum(times) / (6 * min(times)) - 100, 2.6090, abs_tol=5e-5)
    ours = decrement([1 / s for s in times])
    assert ours == pytest.approx(100 * (1 - min(times) / stats.hmean(times)))
    assert 2.4 < ours < 2.609


def test_reps_of_the_worked_example():
    # Fitzsimons et al. 1993 (memory): 20 19 18 18 17 16 16 15, total 139, 13.125 % (computed).
    assert decrement([20, 19, 18, 18, 17, 16, 16, 15]) == pytest.approx(13.125, abs=1e-12)


def test_the_best_is_the_best_and_not_the_first():
    # Glaister et al. 2008 (quoted).
    assert decrement([8, 10]) == pytest.approx(10.0)


@given(st.integers(1, 10_000), st.integers(2, 12))
def test_equal_rounds_are_exactly_zero(value, rounds):
    # Fitzsimons et al. 1993 (memory); computed.
    assert decrement([value] * rounds) == 0.0


@given(VALUES, st.integers(2, 50))
def test_scaling_changes_nothing(values, factor):
    # A percentage of the set's own best; computed.
    scaled = [v * factor for v in values]
    assert decrement(scaled) == pytest.approx(decrement(values), abs=1e-9)


@given(VALUES)
def test_bounds(values):
    # computed: between none and all of the best lost.
    assert 0 <= decrement(values) < 100


@pytest.mark.parametrize("values", [[], [7], [0, 0, 0]])
def test_what_cannot_be_scored_is_none(values):
    # An incomplete set is never scored (Glaister et al. 2008, quoted); no best, no score.
    assert decrement(values) is None


# Load (Foster et al. 2001, read in the abstract; Foster 1998, read in the abstract; the figures
# are computed). Which standard deviation is not stated there, so both are given.


def test_session_load_is_rating_times_minutes():
    assert session_load(7, 60) == 420
    assert session_load(7, 45) == 315
    assert session_load(None, 45) is None


@pytest.mark.parametrize(
    ("loads", "total", "sample", "population"),
    [
        ([0, 300, 420, 0, 360, 240, 0], 1320, (1.0210, 1347.66), (1.1028, 1455.64)),
        ([420, 0, 420, 0, 420, 0, 0], 1260, (0.8018, 1010.25), (0.8660, 1091.19)),
    ],
)
def test_monotony_and_strain_of_the_worked_weeks(loads, total, sample, population):
    assert sum(loads) == total
    for kind, (flat, strained) in (
        (Deviation.SAMPLE, sample),
        (Deviation.POPULATION, population),
    ):
        assert monotony(loads, kind) == pytest.approx(flat, abs=5e-5)
        assert strain(loads, kind) == pytest.approx(strained, abs=5e-3)


@given(st.lists(st.integers(0, 1000), min_size=7, max_size=7).filter(lambda w: len(set(w)) > 1))
def test_the_two_deviations_differ_by_a_known_factor(loads):
    # population / sample monotony over 7 days = sqrt(7/6) = 1.080123 (computed)
    ratio = monotony(loads, Deviation.POPULATION) / monotony(loads, Deviation.SAMPLE)
    assert ratio == pytest.approx(1.080123, abs=5e-7)


@pytest.mark.parametrize("loads", [[], [300], [50] * 7, [0] * 7])
def test_undefined_monotony_is_none_and_does_not_crash(loads):
    # Seven equal days: deviation 0, monotony undefined (computed).
    assert monotony(loads) is None and strain(loads) is None


# Robust figures against scipy and numpy (read in their documentation; computed by them).


def test_clock_drift_example_of_theil_sen():
    # x = 0..3600 step 600, y = x (1 + 30e-6), last point 0.5 s late -> 30.000 ppm
    # (computed with scipy.stats.theilslopes).
    x = list(range(0, 3601, 600))
    y = [t * (1 + 30e-6) for t in x]
    y[-1] += 0.5
    assert 1e6 * (theil_sen(x, y).slope - 1) == pytest.approx(30.0, abs=1e-3)


@given(
    st.lists(st.tuples(st.integers(0, 60), st.integers(-50, 50)), min_size=5, max_size=25).filter(
        lambda points: len({x for x, _ in points}) >= 5
    )
)
def test_slope_and_interval_are_scipys(points):
    x, y = zip(*points, strict=True)
    theirs = stats.theilslopes(np.array(y, float), np.array(x, float), 0.95)
    ours = theil_sen(x, y)
    assert ours.slope == pytest.approx(theirs.slope)
    if not math.isnan(theirs.low_slope):
        assert (ours.low, ours.high) == pytest.approx((theirs.low_slope, theirs.high_slope))


@given(
    st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=5, max_size=20).filter(
        lambda points: all(len(set(some)) > 1 for some in zip(*points, strict=True))
    )
)
def test_chance_is_scipys_kendall(points):
    x, y = (list(some) for some in zip(*points, strict=True))
    exact = len(set(x)) == len(x) and len(set(y)) == len(y)
    theirs = stats.kendalltau(x, y, method="exact" if exact else "asymptotic").pvalue
    assert chance(x, y) == pytest.approx(theirs, abs=1e-9)


@given(st.lists(st.floats(0, 1), min_size=1, max_size=80))
def test_false_discovery_is_scipys(chances):
    # Benjamini & Hochberg 1995, as scipy.stats.false_discovery_control works it out.
    theirs = stats.false_discovery_control(chances).tolist()
    assert false_discovery(chances) == pytest.approx(theirs)


@given(st.lists(st.floats(-1e6, 1e6), min_size=4, max_size=40))
def test_quartiles_are_numpys(values):
    ours = quartiles(values)
    theirs = np.percentile(values, [25, 50, 75])
    assert (ours.low, ours.median, ours.high) == pytest.approx(tuple(theirs), abs=1e-6)


@given(st.lists(st.floats(1, 1e5), min_size=5, max_size=40))
def test_spread_is_scipys(values):
    theirs = stats.median_abs_deviation(values, scale=1 / 1.4826)
    assert spread(values) == pytest.approx(theirs, rel=1e-9, abs=1e-9)


def test_below_five_points_there_is_no_interval_of_95_percent():
    # All slopes of n points agree in sign by chance with 2 / n! (computed): 1/12 for four,
    # 1/60 for five.
    from itertools import permutations

    for n, share in ((4, 1 / 12), (5, 1 / 60)):
        orders = list(permutations(range(n)))
        alike = sum(order in (tuple(range(n)), tuple(range(n))[::-1]) for order in orders)
        assert alike / len(orders) == pytest.approx(share)
        assert (trend_of(range(n), range(n)).weekly is None) == (share > 0.05)


# scikit-learn's load_linnerud: 20 men of a fitness club; chins, sit-ups, jumps (read).


@pytest.fixture(scope="module")
def linnerud():
    datasets = pytest.importorskip("sklearn.datasets")
    return datasets.load_linnerud().data


def test_summaries_of_the_exercise_data(linnerud):
    for column in linnerud.T:
        values = [float(v) for v in column]
        theirs = np.percentile(values, [25, 50, 75])
        ours = quartiles(values)
        assert (ours.low, ours.median, ours.high) == pytest.approx(tuple(theirs))


def test_chins_and_sit_ups_go_together(linnerud):
    # Pearson 0.695727 (computed); a robust slope of the ranks agrees in sign and is sure.
    chins, sit_ups = linnerud[:, 0], linnerud[:, 1]
    assert np.corrcoef(chins, sit_ups)[0, 1] == pytest.approx(0.695727, abs=5e-7)
    slope = theil_sen(chins.tolist(), sit_ups.tolist())
    assert slope.sure and slope.low > 0


def test_weekly_sums_are_pandas(tmp_path):
    pandas = pytest.importorskip("pandas")
    rng = np.random.default_rng(4)
    first = date(2026, 9, 1)
    rows = [
        Rated(first + timedelta(days=int(d)), float(m), int(r))
        for d, m, r in zip(
            rng.integers(0, 80, 60), rng.integers(20, 70, 60), rng.integers(1, 11, 60), strict=True
        )
    ]
    frame = pandas.DataFrame(
        {"load": [r.minutes * r.rating for r in rows]},
        index=pandas.to_datetime([r.day for r in rows]),
    )
    theirs = frame["load"].resample("W-SUN").sum()
    ours = weeks_of(rows)
    assert [w.total for w in ours] == pytest.approx(list(theirs))
    daily = frame["load"].resample("D").sum()
    for week in ours:
        days = pandas.date_range(week.first, periods=7)
        loads = daily.reindex(days, fill_value=0)
        if week.monotony is not None:
            assert week.monotony == pytest.approx(loads.mean() / loads.std())  # pandas: n - 1
