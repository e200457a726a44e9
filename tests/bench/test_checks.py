"""A small run of the benchmark of check beside this file, so that it goes on running."""

import checks
import pytest


def test_growth_is_an_exponent():
    assert checks.slope([(n, 3 * n**2) for n in (250, 500, 1000)]) == pytest.approx(2)
    assert checks.slope([(n, 0.5 * n) for n in (10, 40)]) == pytest.approx(1)


def test_a_small_plan_is_checked_and_told():
    found = checks.measured((20, 40), runs=1)
    assert [size for size, _ in found] == [20, 40] and all(s > 0 for _, s in found)
    told = checks.table(found)
    assert "| 20 |" in told and "| 40 |" in told and "Log-log slope" in told
