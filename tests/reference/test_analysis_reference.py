"""Fade formulas against worked examples from outside, and against each other."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handbell.analysis.fade import decrement_of_reps, decrement_of_times

VALUES = st.lists(st.integers(1, 500), min_size=2, max_size=12)


def test_times_of_the_published_example():
    # Glaister et al. 2008, J Strength Cond Res 22(5):1597-1601 (quoted): six sprints, total 26.35,
    # ideal 25.68, 2.6090 % (computed).
    times = [4.31, 4.28, 4.36, 4.42, 4.47, 4.51]
    assert math.isclose(sum(times), 26.35)
    assert decrement_of_times(times) == pytest.approx(2.6090, abs=5e-5)


def test_reps_of_the_worked_example():
    # Fitzsimons et al. 1993 (memory): 20 19 18 18 17 16 16 15, total 139, 13.125 % (computed).
    assert decrement_of_reps([20, 19, 18, 18, 17, 16, 16, 15]) == pytest.approx(13.125, abs=1e-12)


def test_the_best_is_the_fastest_and_not_the_first():
    # Glaister et al. 2008 (quoted).
    assert decrement_of_times([5.0, 4.0]) == pytest.approx(12.5)
    assert decrement_of_reps([8, 10]) == pytest.approx(10.0)


@given(st.integers(1, 10_000), st.integers(2, 12))
def test_equal_rounds_are_exactly_zero(value, rounds):
    # Fitzsimons et al. 1993 (memory); computed.
    assert decrement_of_reps([value] * rounds) == 0.0
    assert decrement_of_times([value] * rounds) == 0.0


@given(VALUES, st.integers(2, 50))
def test_scaling_changes_nothing(values, factor):
    # A percentage of the set's own best; computed.
    scaled = [v * factor for v in values]
    assert decrement_of_reps(scaled) == pytest.approx(decrement_of_reps(values), abs=1e-9)
    assert decrement_of_times(scaled) == pytest.approx(decrement_of_times(values), abs=1e-9)


@given(VALUES)
def test_bounds(values):
    # computed: between none and all of the best lost; times can only be slower than the best.
    assert 0 <= decrement_of_reps(values) < 100
    assert decrement_of_times(values) >= 0


@pytest.mark.parametrize("values", [[], [7], [0, 0, 0]])
def test_what_cannot_be_scored_is_none(values):
    # An incomplete set is never scored (Glaister et al. 2008, quoted); no best, no score.
    assert decrement_of_reps(values) is None
    assert decrement_of_times(values) is None
