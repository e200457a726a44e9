"""Formulas of the box's hardware, each with its source; plain numbers in and out.

Units: Ohm, V, mA, pF, ns, mm, m, dB unless a name says otherwise.
"""

from __future__ import annotations

import math

E24 = (
    10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91,
)  # fmt: skip
EASY_ARCMIN, JUST_ARCMIN = 20, 15  # NUREG-0700: preferred, and the least
SINK_MA = 3.0  # UM10204: what a part on the bus can pull low
LOW_V = 0.4  # UM10204: and how low


def parallel_ohm(*ohms: float) -> float:
    """Return the resistance of resistors side by side."""
    return 1 / sum(1 / ohm for ohm in ohms)


def is_e24(ohm: float) -> bool:
    """Whether a value of 1 Ohm or more is in the E24 series (IEC 60063)."""
    decade = 10.0 ** (math.floor(math.log10(ohm)) - 1)
    return any(math.isclose(ohm, step * decade, rel_tol=1e-9) for step in E24)


def e24_below(ohm: float) -> float:
    """Return the largest E24 value that is not above ``ohm`` (1 Ohm or more)."""
    decade = 10.0 ** (math.floor(math.log10(ohm)) - 1)
    return max(step * decade for step in E24 if step * decade <= ohm * (1 + 1e-9))


def pull_up_most_ohm(rise_ns: float, bus_pf: float) -> float:
    """Return the largest I2C pull-up that still rises in time: tr / (ln(0.7 / 0.3) Cb), UM10204."""
    return rise_ns * 1e-9 / (math.log(0.7 / 0.3) * bus_pf * 1e-12)


def pull_up_least_ohm(supply_v: float) -> float:
    """Return the least I2C pull-up: (VDD - VOL) / IOL, UM10204."""
    return (supply_v - LOW_V) / SINK_MA * 1000


def settle_us(ohm: float, nf: float, from_v: float, towards_v: float, past_v: float) -> float:
    """Return when a resistor and a capacitor have gone from one level past another."""
    return ohm * nf * 1e-3 * math.log((towards_v - from_v) / (towards_v - past_v))


def capacity_ah(ah: float, at_ma: float, load_ma: float, exponent: float) -> float:
    """Return a cell's capacity at a load: ah x (at / load)^exponent, Peukert's law.

    ``exponent`` is Peukert's constant less one; 0 for a cell whose capacity is the same at any of
    our loads.
    """
    return ah * (at_ma / load_ma) ** exponent if exponent else ah


def runtime_h(ah: float, part: float, load_ma: float) -> float:
    """Return capacity x derating / current, in hours."""
    return ah * 1000 * part / load_ma


def legible_m(high_mm: float, arcmin: float) -> float:
    """Return how far characters of a height can be read (NUREG-0700: height = angle x distance)."""
    return high_mm / 1000 / math.tan(math.radians(arcmin / 60))


def level_at_db(db: float, at_m: float, to_m: float) -> float:
    """Return a level at another distance in the open: 6 dB less for twice as far."""
    return db - 20 * math.log10(to_m / at_m)


def level_of_power_db(db_1w_1m: float, watt: float) -> float:
    """Return a loudspeaker's level at 1 m from its sensitivity and the power it gets."""
    return db_1w_1m + 10 * math.log10(watt)


def safe_minutes(level_db: float) -> float:
    """Return the minutes of a day at a level: 480 / 2^((L - 85) / 3), NIOSH."""
    return float(480 / 2 ** ((level_db - 85) / 3))


def dbv(volt_rms: float) -> float:
    """Return a level relative to 1 V."""
    return 20 * math.log10(volt_rms)


def empties_us(ohm: float, nf: float, from_v: float, to_v: float) -> float:
    """Return how long a resistor takes to empty a capacitor from one voltage to another."""
    return settle_us(ohm, nf, from_v, 0, to_v)


def coupled_high_v(
    high_v: float, series: float, bleed: float, nf: float, clamp_v: float, lit_us: float,
    dark_us: float,
) -> float:  # fmt: skip
    """Return how high a pin's pulse still is at its end, behind a capacitor, in an endless burst.

    In the dark a diode empties the capacitor by the series resistor down to ``clamp_v`` over what
    the bleed takes; each pulse fills it a little. The balance of both, a little on the low side.
    """
    kept_v = clamp_v * (1 + series / bleed)
    filled_v = max(0.0, high_v - kept_v) * lit_us * 1e3 / ((series + bleed) * nf)
    left = math.exp(-dark_us * 1e3 / (series * nf)) if series else 0.0
    return (high_v - kept_v - filled_v / (1 - left)) * bleed / (series + bleed)


def sag_v(current_ma: float, lit_us: float, nf: float) -> float:
    """Return by how much a capacitor sags that gives a current for a while: I t / C."""
    return current_ma * lit_us / nf


def stored_j(nf: float, volt: float) -> float:
    """Return the energy in a capacitor: C V^2 / 2."""
    return nf * 1e-9 * volt**2 / 2
