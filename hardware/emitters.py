"""A remote's infra-red diodes: their currents, how long they are lit, and what an eye gets of it.

Of the carrier's cycle a third is lit (``firmware/box/emitter.py``), of a telegram its bursts. What
is lit and dark, and when a telegram is told, is the firmware's own.
"""

from __future__ import annotations

from math import pi

from handbell_core import bursts, lead
from hardware.netlist import Netlist

LIT_PART = 1 / 3  # of a carrier's cycle
LOST_V = (0.1, 0.4)  # at a transistor that is driven well; BC337, from memory
STATED_MA = 100  # at this current an emitter's intensity is stated
# IEC 62471:2006, exempt group, from memory: 100 W/m2 at the cornea for over 1,000 s; 6000 / alpha
# W/m2/sr at the retina without a bright sight, alpha 0.011 rad; an eye 0.2 m away.
CORNEA_W_M2 = 100.0
ALPHA_RAD = 0.011
RETINA_W_M2_SR = 6_000 / ALPHA_RAD
EYE_M = 0.2


def pulse_ma(net: Netlist, supply_v: float, ref: str, drop: int = 0) -> float:
    """Return an emitter's current while lit; ``drop`` 0 for the least losses, 1 for the most."""
    series = series_ohm(net, ref)
    left_v = supply_v - net.box.part[ref].drop_v[drop] - LOST_V[drop]
    return max(0.0, left_v) / series * 1000 if series else float("inf")


def series_ohm(net: Netlist, ref: str) -> float:
    """Return the resistor that is this emitter's alone, 0 without one."""
    at = net.at(ref, "A")
    if [other for other, _ in net.on(at) if net.box.part[other].kind == "emitter"] != [ref]:
        return 0.0
    return sum(part.ohm for part, _ in net.beyond(at, "resistor"))


def supply(net: Netlist) -> str:
    """Return the net that feeds the emitters, "" without any."""
    for ref in net.refs("emitter"):
        for _, far in net.beyond(net.at(ref, "A"), "resistor"):
            return far
    return ""


def most_ma(net: Netlist) -> float:
    """Return what all emitters take together while lit, at the fullest battery."""
    high_v = net.supply_v(supply(net))[1]
    return sum(pulse_ma(net, high_v, ref) for ref in net.refs("emitter"))


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
    """Return how often the newest act is told: every so often, and more so after each act."""
    acts = net.box.class_day.acts_an_hour
    return 3_600_000 / lead.AGAIN_MS + acts * len(lead.TOLD_MS)


def mean_ma(net: Netlist, supply_v: float) -> float:
    """Return what the emitters take in class, in the mean."""
    lit_part = telegrams_an_hour(net) * telegram_lit_ms() / 3_600_000
    both = [pulse_ma(net, supply_v, ref, drop) for ref in net.refs("emitter") for drop in (0, 1)]
    return sum(both) / 2 * lit_part


def drive_ma(net: Netlist, switch: str) -> float:
    """Return the least current into the base of a transistor that switches emitters.

    A pin's transistor, an emitter follower, feeds it by a resistor; another one empties the base.
    """
    box = net.box
    base = net.at(switch, "B")
    feeds = [(part, far) for part, far in net.beyond(base, "resistor") if far != "GND"]
    if not feeds:
        return 0.0
    feed, drive = feeds[0]
    follower = next((ref for ref in net.refs("npn") if net.at(ref, "E") == drive), "")
    if not follower:
        return 0.0
    shares = [part for part, far in net.beyond(drive, "resistor") if far != "GND"]
    first = sum(part.ohm for part, _ in net.beyond(net.at(follower, "B"), "resistor"))
    left_v = box.supply.high_v - box.part[follower].base_v - box.part[switch].base_v
    # What a share loses at the follower's own base: all shares' current over its gain.
    lost_ohm = len(shares) * first / (box.part[follower].gain + 1)
    emptied = [part.ohm for part, far in net.beyond(base, "resistor") if far == "GND"]
    away_a = sum(box.part[switch].base_v / ohm for ohm in emptied)
    return (left_v / (feed.ohm + lost_ohm) - away_a) * 1000


def switched_ma(net: Netlist, switch: str) -> float:
    """Return what a transistor carries while its emitters are lit, at the fullest battery."""
    high_v = net.supply_v(supply(net))[1]
    at = net.at(switch, "C")
    return sum(pulse_ma(net, high_v, ref) for ref in net.refs("emitter") if net.at(ref, "K") == at)


def eye_w_m2(net: Netlist) -> float:
    """Return what an eye near the remote gets if all emitters looked at it, lit without a pause."""
    high_v = net.supply_v(supply(net))[1]
    return sum(_most_w_sr(net, ref, high_v) for ref in net.refs("emitter")) / EYE_M**2


def eye_w_m2_sr(net: Netlist) -> float:
    """Return the radiance of the brightest emitter, lit without a pause.

    Taken over the field that the standard takes it over, which is smaller than an emitter's lens.
    """
    high_v = net.supply_v(supply(net))[1]
    most = max((_most_w_sr(net, ref, high_v) for ref in net.refs("emitter")), default=0.0)
    return most / (pi / 4 * (ALPHA_RAD * EYE_M) ** 2)


def _most_w_sr(net: Netlist, ref: str, supply_v: float) -> float:
    return net.box.part[ref].mw_sr[1] / 1000 * pulse_ma(net, supply_v, ref) / STATED_MA
