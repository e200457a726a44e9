"""Emitters and a receiver by their data sheets, and what follows from those in the open.

"Read" is a data sheet that was at hand; "from memory" was not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Emitter:
    """An infra-red diode of 940 nm: what it sends along its axis, and how wide."""

    name: str
    mw_sr: float  # typical, at ``ma``
    ma: float
    half_deg: float  # from the axis to where it is half as bright
    volt: float
    wide_mm: float  # of what is seen to shine
    source: str

    @property
    def power(self) -> float:
        """Return m of the lobe cos(angle)^m."""
        return math.log(0.5) / math.log(math.cos(math.radians(self.half_deg)))

    def at_mw_sr(self, ma: float) -> float:
        """Return the radiant intensity on the axis, taken as straight with the current."""
        return self.mw_sr * ma / self.ma

    def flux_mw(self, ma: float) -> float:
        """Return all it sends: 2 pi I / (m + 1), the integral of its lobe."""
        return 2 * math.pi * self.at_mw_sr(ma) / (self.power + 1)


@dataclass(frozen=True)
class Receiver:
    """A receiver for a carrier of 38 kHz: the least it takes, on its axis and in the dark."""

    name: str
    least_mw_m2: float  # typical
    most_mw_m2: float  # the least that the worst of them takes
    half_deg: float  # where it reaches half as far, so needs four times the light
    source: str

    @property
    def power(self) -> float:
        """Return n of the response cos(angle)^n."""
        return math.log(0.25) / math.log(math.cos(math.radians(self.half_deg)))


WIDE = Emitter("SFH 4726S", 280, 1000, 75, 2.65, 2.4, "read: version 1.5 of 2018; width assumed")
BEAM = Emitter("SFH 4725S", 760, 1000, 40, 2.65, 2.4, "read: version 1.10 of 2023; volt as 4726S")
SMALL = Emitter("TSAL4400", 36, 100, 25, 1.35, 2.5, "read: document 81006; volt from memory")
COMMON = Emitter("TSAL6200", 60, 100, 17, 1.35, 4.0, "from memory; 60 is the old sheet, 72 the new")
RECEIVER = Receiver("TSOP48..", 0.2, 0.4, 45, "read: Telefunken's sheet of TSOP4838")

# Our carrier is lit for a third of each cycle, a data sheet's for half: what a receiver's filter
# takes of them is as sin(pi / 3) to sin(pi / 2) (computed).
CARRIER = math.sin(math.pi / 3)

# Ranges that receivers' data sheets state, each with TSAL6200: mA, least mW/m2, m.
STATED = (
    ("TSOP48..", 250, 0.2, 35, "read: the same sheet"),
    ("TSSP960..", 50, 0.7, 8, "read: document 82868"),
)


def irradiance_mw_m2(mw_sr: float, away_m: float) -> float:
    """Return what falls on a face turned to a small source in the open: I / d^2."""
    return mw_sr / away_m**2


def range_m(mw_sr: float, least_mw_m2: float) -> float:
    """Return how far a receiver on the axis hears in the open."""
    return math.sqrt(mw_sr / least_mw_m2)
