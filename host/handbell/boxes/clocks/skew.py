"""How far boxes may part: the error of each clock ahead of a class, and what would mend it.

Every figure is a bound, not a guess of the usual: the offset's, the rate's times the time, the
temperature's times the time, and what a box adds by trusting its crystal for 8 s at a stretch.
The computer's own clock is off too, but by the same for all boxes, so they do not part by it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from handbell.base.drift import (
    AGEING_PPB_A_DAY,
    DAY_US,
    RTC_EDGES_US,
    RTC_PPB,
    TEMPERATURE_PPB,
    TOLERANCE_PPB,
    drift_us,
)
from handbell_core.clock import ANCHOR_EVERY_MS

from .rate import Rate

HEARD_US = 20_000  # from about here two bells are told apart in order (Hirsh 1959)
SOUND_M_S = 343.2  # speed of sound at 20 degrees
CALIBRATE_LEAST_MIN, CALIBRATE_MOST_MIN = 10, 120
AGAIN_FROM_US = 600_000_000  # a start further ahead is worth arming once more just before it


@dataclass(frozen=True)
class ClockState:
    """What is known of a box's clock: the bound of its offset at ``utc_us``, and its rate.

    ``rtc``: it has a clock part, and goes by that where it is surer than the crystal.
    """

    utc_us: int
    bound_us: int
    rate: Rate | None
    rtc: bool = False

    def error_us(self, utc_us: int) -> int:
        """Return by how much its clock may be wrong at an instant from then on."""
        return self.bound_us + self.growth_us(utc_us - self.utc_us)

    def growth_us(self, after_us: int) -> int:
        """Return what the error gains in ``after_us``."""
        rate_ppb, doubt_ppb = 0, float(TOLERANCE_PPB)
        if self.rate is not None:
            aged_days = max(0, self.utc_us - self.rate.utc_us) / DAY_US
            rate_ppb = self.rate.ppb
            doubt_ppb = self.rate.bound_ppb + aged_days * AGEING_PPB_A_DAY
        doubt_ppb += TEMPERATURE_PPB
        gone_us = max(0, after_us)
        drifted_us = drift_us(doubt_ppb, gone_us)
        if self.rtc:
            drifted_us = min(drifted_us, RTC_EDGES_US + drift_us(RTC_PPB, gone_us))
        trusted_us = min(gone_us, ANCHOR_EVERY_MS * 1000)
        return math.ceil(drifted_us + drift_us(abs(rate_ppb) + doubt_ppb, trusted_us))


def worst_skew_us(errors_us: Sequence[int]) -> int:
    """Return the largest skew of a set: one box early by all its error, another late."""
    return sum(sorted(errors_us)[-2:]) if len(errors_us) > 1 else 0


def floor_m(skew_us: float) -> float:
    """Return the metres of floor over which sound takes as long as the skew (1 m is 2.9 ms)."""
    return skew_us / 1e6 * SOUND_M_S


def heard(skew_us: int) -> str:
    """Return what a skew means on the floor, "" when nobody can tell."""
    if skew_us <= HEARD_US:
        return ""
    return (
        f"Sound takes as long over {floor_m(skew_us):.0f} m of floor; from about "
        f"{HEARD_US / 1000:.0f} ms, {floor_m(HEARD_US):.0f} m, people hear which box was first"
    )


def cures(clocks: Sequence[ClockState], now_us: int, start_us: int, end_us: int) -> list[str]:
    """Return what would bring the worst skew under what people hear, as sentences.

    The instants are UTC. Nothing is said when the skew is small enough already.
    """
    if worst_skew_us([c.error_us(end_us) for c in clocks]) <= HEARD_US:
        return []
    fresh = [ClockState(start_us, c.bound_us, c.rate, c.rtc) for c in clocks]
    hours_ahead = start_us - now_us >= AGAIN_FROM_US
    if hours_ahead and worst_skew_us([c.error_us(end_us) for c in fresh]) <= HEARD_US:
        return ["Plug the boxes in again just before the class and run handbell arm again"]
    found = []
    if any(c.rate is None or c.growth_us(end_us - start_us) * 2 > HEARD_US for c in clocks):
        learn = "Learn the rate of the crystals: handbell boxes --calibrate"
        whole = calibration_min(clocks, end_us - now_us)
        minutes = whole or calibration_min(clocks, end_us - start_us)
        if minutes and (whole or not hours_ahead):
            found.append(f"{learn} {minutes}, then arm again")
        elif minutes:
            found.append(f"{learn} {minutes}, and arm again just before the class")
    if not found:
        found.append(
            "Plug the boxes in and run handbell arm again in a pause: no calibration keeps boxes "
            f"together for {(end_us - start_us) / 3.6e9:.1f} h"
        )
    return found


def calibration_min(clocks: Sequence[ClockState], class_us: int) -> int:
    """Return the minutes of calibration that keep boxes in step over a class, 0 if none do.

    Two contacts so far apart bound the rate by both offsets' bounds over the time between.
    """
    bound_us = max(c.bound_us for c in clocks)
    room_us = HEARD_US / 2 - bound_us - drift_us(TEMPERATURE_PPB, class_us)
    if room_us <= 0:
        return 0
    minutes = math.ceil(2 * bound_us * class_us / room_us / 60_000_000 / 5) * 5
    minutes = max(CALIBRATE_LEAST_MIN, minutes)
    return minutes if minutes <= CALIBRATE_MOST_MIN else 0
