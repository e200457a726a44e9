"""How far a box is read, heard and seen."""

from __future__ import annotations

from dataclasses import dataclass

from hardware.formulas import (
    EASY_ARCMIN,
    JUST_ARCMIN,
    legible_m,
    level_at_db,
    level_of_power_db,
)
from hardware.model import Box, Display, Sounder
from hardware.netlist import Netlist

CLASS_DB = 93.1  # read: mean of classes at high intensity, dB(A) (Beach & Nie 2014)
ROWS = 64
HEIGHTS = {"seconds, the last five": 64, "seconds": 40, "reps of one bib": 34, "large words": 14}
LAMP_ARCMIN = 5.0  # common practice: the angle at which an eye of full sight tells letters


@dataclass(frozen=True)
class Legible:
    """How far a thing on a display is read, in m."""

    what: str
    high_mm: float
    easy_m: float
    just_m: float


def legible(display: Display) -> list[Legible]:
    """Return what can be read on a display from how far (NUREG-0700)."""
    return [
        Legible(
            what,
            high_mm := display.high_mm * rows / ROWS,
            legible_m(high_mm, EASY_ARCMIN),
            legible_m(high_mm, JUST_ARCMIN),
        )
        for what, rows in HEIGHTS.items()
    ]


def level_db(box: Box, sounder: Sounder) -> float | None:
    """Return a sounder's level at 1 m in the open, None where the room's loudspeakers set it.

    A square wave's power in the coil is that of half its swing, whose rms value is its height.
    """
    if sounder.line:
        return None
    if not sounder.part:
        return level_at_db(sounder.db, sounder.at_m, 1)
    part = box.part[sounder.part]
    net = Netlist(box)
    supply_v = sum(net.supply_v(net.gauge_top())) / 2
    series = sounder.series_ohm or net.speaker_series_ohm()
    swing_a = supply_v / (part.ohm + series)
    return level_of_power_db(part.db_1w_1m, (swing_a / 2) ** 2 * part.ohm)


def lamps_apart_m(box: Box) -> float:
    """Return from how far two neighbouring lamps are told apart easily."""
    return legible_m(float(box.size["lamps"]["pitch"]), LAMP_ARCMIN)
