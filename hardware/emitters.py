"""Infra-red diodes in strings: their currents, how long they are lit, and what an eye gets of them.

Of the carrier's cycle a third is lit (``firmware/box/emitter.py``), of a telegram its bursts. What
is lit and dark, and when a telegram is told, is the firmware's own. How far they reach, and why
they are as many, is docs/engineers/infrared.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import cos, log, pi, radians, sin

from handbell_core import bursts, slots
from hardware.formulas import coupled_high_v, empties_us, sag_v
from hardware.model import Part
from hardware.netlist import Netlist

LIT_PART = 1 / 3  # of a carrier's cycle
PULSE_US = 1_000_000 * LIT_PART / bursts.CARRIER_HZ
STATED_MA = 1_000  # at this current an emitter's intensity is stated
REPEATED = 2  # how often a box tells an act: infrared.md, "Boxes repeat in slots"
TURN_MS = 3 * 230  # three slots, two of them the boxes': the same
# Which way they look: rings of so many, tilted up by so many degrees, all round an upright axis.
RINGS = {"remote": ((8, 0.0), (8, 25.0)), "box": ((3, 5.0),)}
# IEC 62471:2006, exempt group, from memory: 100 W/m2 at the cornea for over 1,000 s; 6000 / alpha
# W/m2/sr at the retina without a bright sight, alpha 0.011 rad; an eye 0.2 m away.
CORNEA_W_M2 = 100.0
ALPHA_RAD = 0.011
EYE_M = 0.2
LENS_M = 0.0024  # what is seen to shine; assumed, as in infrared.md


@dataclass(frozen=True)
class String:
    """Emitters in series and what drives them; "" or 0 for what is missing."""

    emitters: tuple[str, ...]
    mosfet: str
    limiter: str  # opens as the current is too high, and closes the MOSFET
    sense_ohm: float
    top: str  # the net that feeds it

    def most_ma(self, net: Netlist) -> float:
        """Return the most current while lit, all of it through the limit's resistor."""
        return self._limit_ma(net, 1)

    def least_ma(self, net: Netlist) -> float:
        """Return the least current while lit, with voltage enough."""
        return self._limit_ma(net, 0)

    def _limit_ma(self, net: Netlist, end: int) -> float:
        if not self.limiter or not self.sense_ohm:
            return float("inf")
        return net.box.part[self.limiter].drop_v[end] / self.sense_ohm * 1000

    def wants_v(self, net: Netlist) -> float:
        """Return the most voltage that it needs for its full current."""
        parts = net.box.part
        diodes = sum(parts[ref].drop_v[1] for ref in self.emitters)
        on_v = parts[self.mosfet].on_ohm * self.most_ma(net) / 1000
        return diodes + on_v + self.sense_ohm * self.most_ma(net) / 1000

    def mosfet_w(self, net: Netlist) -> float:
        """Return what heats the MOSFET at most, were the carrier never to end."""
        diodes = sum(net.box.part[ref].drop_v[0] for ref in self.emitters)
        left_v = supply_v(net)[1] - diodes - self.sense_ohm * self.most_ma(net) / 1000
        return left_v * self.most_ma(net) / 1000 * LIT_PART


def strings(net: Netlist) -> list[String]:
    """Return the strings: from each MOSFET's drain upwards, from diode to diode."""
    return [_string(net, ref) for ref in net.refs("mosfet")]


def _string(net: Netlist, mosfet: str) -> String:
    at, chain = net.at(mosfet, "D"), list[str]()
    while True:
        above = [ref for ref, end in net.on(at) if end == "K" and _is_emitter(net, ref)]
        if len(above) != 1 or above[0] in chain:
            break
        chain.append(above[0])
        at = net.at(above[0], "A")
    source, gate = net.at(mosfet, "S"), net.at(mosfet, "G")
    limits = [q for q in net.refs("npn") if (net.at(q, "B"), net.at(q, "C")) == (source, gate)]
    limiter = next((q for q in limits if net.at(q, "E") == "GND"), "")
    ohm = sum(part.ohm for part in net.between(source, "GND", "resistor"))
    return String(tuple(reversed(chain)), mosfet, limiter, ohm, at)


def _is_emitter(net: Netlist, ref: str) -> bool:
    return net.box.part[ref].kind == "emitter"


def step_up(net: Netlist) -> str:
    """Return the step-up that feeds the strings by a resistor, "" without one."""
    for ref in net.refs("boost"):
        if any(far == supply(net) for _, far in net.beyond(net.at(ref, "OUT+"), "resistor")):
            return ref
    return ""


def supply(net: Netlist) -> str:
    """Return the net that feeds the emitters, "" without any."""
    return next((string.top for string in strings(net)), "")


def feed_ohm(net: Netlist) -> float:
    """Return the resistor between the step-up and its capacitor."""
    ref = step_up(net)
    at = net.at(ref, "OUT+") if ref else ""
    return sum(part.ohm for part in net.between(at, supply(net), "resistor")) if at else 0.0


def supply_v(net: Netlist) -> tuple[float, float]:
    """Return the least and the most at the step-up's output, (0, 0) without one."""
    ref = step_up(net)
    return net.box.part[ref].out_v if ref else (0.0, 0.0)


def most_ma(net: Netlist) -> float:
    """Return what all strings take together while lit."""
    return sum(string.most_ma(net) for string in strings(net))


def store(net: Netlist) -> list[Part]:
    """Return the capacitors that give the pulses."""
    return net.between(supply(net), "GND", "capacitor") if supply(net) else []


def sags_v(net: Netlist) -> float:
    """Return by how much the store sags in the longest burst, if nothing fed it meanwhile."""
    lit_us = bursts.LONG_BURST * PULSE_US
    nf = sum(part.nf for part in store(net))
    return sag_v(most_ma(net), lit_us, nf) if nf else float("inf")


@dataclass(frozen=True)
class Coupling:
    """The pin's way to the driver: a resistor, a capacitor, what empties it, a diode to GND."""

    series: float
    nf: float
    bleed: float
    clamp_v: float  # inf without a diode

    def high_v(self, high_v: float) -> float:
        """Return the driver's input at the end of a lit pulse, from what the pin gives."""
        dark_us = PULSE_US * (1 / LIT_PART - 1)
        return coupled_high_v(
            high_v, self.series, self.bleed, self.nf, self.clamp_v, PULSE_US, dark_us
        )

    def dark_us(self, high_v: float, low_v: float) -> float:
        """Return after how long a pin that stays high lights nothing any more."""
        begin_v = high_v * self.bleed / (self.series + self.bleed)
        return empties_us(self.series + self.bleed, self.nf, begin_v, low_v)


def coupling(net: Netlist) -> Coupling | None:
    """Return the way from the emitters' pin to the driver, None if no capacitor is in it."""
    pin = net.at(net.refs("board")[0], "emitter")
    for driver in net.refs("driver"):
        at = net.at(driver, "INA")
        for capacitor, far in net.beyond(at, "capacitor"):
            series = net.between(far, pin, "resistor")
            if far not in ("GND", at) and (series or far == pin):
                bleed = net.between(at, "GND", "resistor")
                clamps = [d for d in net.refs("diode") if _ends(net, d) == ("GND", at)]
                return Coupling(
                    series[0].ohm if series else 0.0,
                    capacitor.nf,
                    bleed[0].ohm if bleed else float("inf"),
                    net.box.part[clamps[0]].drop_v[1] if clamps else float("inf"),
                )
    return None


def _ends(net: Netlist, ref: str) -> tuple[str, str]:
    return net.at(ref, "A"), net.at(ref, "K")


def telegram_ms() -> float:
    """Return how long a telegram lasts in the mean, its last burst and the dark after it too."""
    symbols = bursts.SYMBOLS * (bursts.LEAST + bursts.STEP * 1.5)
    cycles = bursts.START + symbols + bursts.BURST + bursts.DARK
    return float(cycles) / bursts.CARRIER_HZ * 1000


def telegram_lit_ms() -> float:
    """Return how long a telegram's diodes are lit, all in all."""
    cycles = bursts.LONG_BURST + (bursts.SYMBOLS + 1) * bursts.BURST
    return cycles * LIT_PART / bursts.CARRIER_HZ * 1000


def telegrams_an_hour(net: Netlist) -> float:
    """Return how often an act is told: by a remote every so often too, by a box in its slots."""
    acts = net.box.class_day.acts_an_hour
    if net.box.product == "box":
        return acts * REPEATED
    return 3_600_000 / slots.AGAIN_MS + acts * len(slots.TOLD_MS)


def cell_ma(net: Netlist, out_ma: float, cell_v: float) -> float:
    """Return what a current at the strings' supply takes of the cell."""
    ref = step_up(net)
    if not ref:
        return 0.0
    part = net.box.part[ref]
    return out_ma * part.out_v[1] / part.yields / cell_v


def telegram_ma(net: Netlist, cell_v: float) -> float:
    """Return the mean at the cell while a telegram is sent."""
    return cell_ma(net, most_ma(net) * telegram_lit_ms() / telegram_ms(), cell_v)


def busy_ma(net: Netlist, cell_v: float) -> float:
    """Return the mean at the cell in the busiest seconds, which is what heats a fuse.

    A remote tells an act some times within seconds, a box that is alone in two slots of three.
    """
    many, lasts_ms = len(slots.TOLD_MS), slots.TOLD_MS[-1] + telegram_ms()
    if net.box.product == "box":
        many, lasts_ms = REPEATED, float(TURN_MS)
    return telegram_ma(net, cell_v) * telegram_ms() * many / lasts_ms


def mean_ma(net: Netlist, cell_v: float) -> float:
    """Return what the emitters take of the cell in class, in the mean, without what is idle."""
    lit_part = telegrams_an_hour(net) * telegram_lit_ms() / 3_600_000
    both = sum(string.most_ma(net) + string.least_ma(net) for string in strings(net))
    return cell_ma(net, both / 2 * lit_part, cell_v)


def idle_ma(net: Netlist, cell_v: float) -> float:
    """Return what the step-up and the driver take of the cell all the time."""
    ref = step_up(net)
    if not ref:
        return 0.0
    drivers = sum(net.box.part[each].idle_ma for each in net.refs("driver"))
    return net.box.part[ref].idle_ma + cell_ma(net, drivers, cell_v)


def ring(many: int, up_deg: float) -> list[tuple[float, float, float]]:
    """Return directions all round, the first one ahead, tilted up; z is up."""
    up = radians(up_deg)
    turns = [2 * pi * n / many for n in range(many)]
    return [(cos(up) * cos(turn), cos(up) * sin(turn), sin(up)) for turn in turns]


def eye_w_m2(net: Netlist) -> float:
    """Return what an eye near by gets in the brightest direction, lit without a pause."""
    refs = net.refs("emitter")
    if not refs:
        return 0.0
    half_deg = net.box.part[refs[0]].half_deg
    return _brightest(net.box.product, half_deg) * _most_w_sr(net) / EYE_M**2


@cache
def _brightest(product: str, half_deg: float) -> float:
    """Return what all emitters give into the brightest direction, of what one gives on its axis."""
    power = log(0.5) / log(cos(radians(half_deg)))
    ways = [way for each in RINGS[product] for way in ring(*each)]
    bright = 0.0
    for up in range(-10, 41, 2):
        for x, y, z in ring(72, up):
            along = (max(0.0, x * a + y * b + z * c) for a, b, c in ways)
            bright = max(bright, sum(one**power for one in along))
    return bright


def eye_w_m2_sr(net: Netlist) -> float:
    """Return the radiance of the brightest emitter, lit without a pause."""
    wide_m = max(LENS_M, ALPHA_RAD * EYE_M)
    return _most_w_sr(net) / (pi / 4 * wide_m**2)


def eye_most_w_m2_sr() -> float:
    """Return the radiance that the exempt group may have, for a source as wide as a lens."""
    return 6_000 / max(ALPHA_RAD, LENS_M / EYE_M)


def _most_w_sr(net: Netlist) -> float:
    most = (string.most_ma(net) for string in strings(net))
    bright = (net.box.part[ref].mw_sr[1] for ref in net.refs("emitter"))
    return max(bright, default=0.0) / 1000 * max(most, default=0.0) / STATED_MA
