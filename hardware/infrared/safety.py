"""What emitters do to an eye and to a battery.

A reckoning for a design, no test by a standard: a thing that is sold is measured and classed by
somebody who may.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from handbell_core.bursts import BURST, CARRIER_HZ, LONG_BURST, SYMBOLS
from handbell_core.slots import AGAIN_MS, TOLD_MS
from hardware.infrared.acts import MEAN_MS
from hardware.infrared.light import Floats, Lantern

EYE_M = 0.2  # IEC 62471 judges lamps for no special use from here
CORNEA_W_M2 = 100.0  # beyond 1000 s (ICNIRP 1997, quoted; the exempt group's from memory)
RETINA_W_M2_SR = 6000.0  # over the source's angle, 1000 s, weak visual stimulus
ANGLE_RAD = 0.011  # the least angle that counts from 10 s on; both by Osram's note on eye safety
BRIGHTEST = 1120 / 760  # of typical: SFH 4725S, the most to typical (read)
LIT = 1 / 3  # of a cycle of the carrier


def retina_w_m2_sr(angle_rad: float) -> float:
    """Return the radiance that the exempt group may have."""
    return RETINA_W_M2_SR / max(angle_rad, ANGLE_RAD)


@dataclass(frozen=True)
class Eye:
    """A lantern seen from 200 mm, the brightest of its emitters, in its brightest direction."""

    peak_w_m2: float  # as if it were lit all the time
    telegram_w_m2: float  # the mean of a telegram
    retina_w_m2_sr: float  # of one emitter, lit
    retina_most_w_m2_sr: float

    @property
    def exempt(self) -> bool:
        """Whether it keeps within both limits even if it were lit all the time."""
        return self.peak_w_m2 <= CORNEA_W_M2 and self.retina_w_m2_sr <= self.retina_most_w_m2_sr


def lit_ms() -> float:
    """Return how long an emitter is lit in a telegram."""
    return ((SYMBOLS + 1) * BURST + LONG_BURST) * LIT * 1000 / CARRIER_HZ


def eye(lantern: Lantern) -> Eye:
    """Return what a lantern does to an eye."""
    brightest = float(lantern.towards_mw_sr(0.0, _sphere()).max()) * BRIGHTEST / 1000
    one = lantern.emitter
    wide_m = max(one.wide_mm / 1000, ANGLE_RAD * EYE_M)
    radiance = BRIGHTEST * one.at_mw_sr(lantern.ma) / 1000 / (math.pi / 4 * wide_m**2)
    peak = brightest / EYE_M**2
    return Eye(peak, peak * lit_ms() / MEAN_MS, radiance, retina_w_m2_sr(wide_m / EYE_M))


def _sphere() -> Floats:
    up, round_ = np.meshgrid(np.radians(np.arange(-90, 91, 2)), np.radians(np.arange(0, 360, 2)))
    flat = np.cos(up).ravel()
    around = round_.ravel()
    return np.column_stack((flat * np.cos(around), flat * np.sin(around), np.sin(up).ravel()))


@dataclass(frozen=True)
class Draw:
    """What a lantern takes from a battery; strings of emitters in series, side by side."""

    peak_a: float
    telegram_a: float  # the mean of a telegram
    telegram_mas: float
    hour_mah: float  # a class of an hour that is told of 40 acts


def draw(lantern: Lantern, series: int, acts: int = 40) -> Draw:
    """Return the draw at the battery, a driver that is linear."""
    peak_a = lantern.ma / 1000 * len(lantern.axes) / series
    charge = peak_a * lit_ms()
    telegrams = acts * len(TOLD_MS) + 3_600_000 / AGAIN_MS
    return Draw(peak_a, charge / MEAN_MS, charge, charge * telegrams / 3600)
