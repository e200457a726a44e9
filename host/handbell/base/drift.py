"""How clocks go wrong: the figures on which every stated error rests.

Rates are in ppb; 1 ppb is 1 us in 1,000 s. ``docs/engineers/skew.md`` says what each assumes.
"""

from __future__ import annotations

from handbell_core.clock import PPB, TEMPERATURE_PPB, TOLERANCE_PPB

DAY_US = 86_400_000_000

# 3 ppm in a crystal's first year, its fastest (from memory), rounded up.
AGEING_PPB_A_DAY = 10
RATE_LASTS_DAYS = 30

# A clock part of the DS3231 type (its data sheet, 0 to 40 degrees), and how late it may tell.
RTC_PPB = 2_000
RTC_EDGES_US = 500

# No crystal that works is further off: what seems to be is a clock that was changed.
MOST_PPB = 200_000

# A computer's wall clock and its monotonic one part by no more unless somebody moves one.
STEP_US = 2_000
PARTING_PPB = 50_000


__all__ = ["PPB", "TEMPERATURE_PPB", "TOLERANCE_PPB"]  # the box reckons by the same


def drift_us(rate_ppb: float, over_us: float) -> float:
    """Return by how much a clock off by ``rate_ppb`` is wrong after ``over_us``."""
    return rate_ppb * over_us / PPB


def clock_moved(ahead_us: int, later_ahead_us: int, passed_us: int) -> bool:
    """Whether a computer's clock was moved, or is another computer's, after ``passed_us``.

    ``ahead_us`` is its wall clock minus its monotonic one.
    """
    return abs(later_ahead_us - ahead_us) > STEP_US + drift_us(PARTING_PPB, passed_us)
