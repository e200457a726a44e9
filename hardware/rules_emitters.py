"""Rules of infra-red that is sent: strings of diodes, their driver, and the eyes before them."""

from __future__ import annotations

from handbell_core import bursts
from hardware import chip, emitters
from hardware.emitters import String
from hardware.netlist import Netlist
from hardware.rules_infrared import NM

DARK_MOST_US = 2_000  # ours: two of the longest bursts; a diode stands it, and so does an eye
LEAST_PART = 0.8  # of full current: the bad end in docs/engineers/infrared.md


def emitting(net: Netlist) -> list[str]:
    """Strings of diodes, each with its limit, behind a driver that can't stay on."""
    if "emitter" in net.box.free:
        return []
    refs, strings = net.refs("emitter"), emitters.strings(net)
    if not refs:
        return ["The emitters' pin leads to no emitter."]
    found = []
    for ref in refs:
        if not any(ref in string.emitters for string in strings):
            found.append(f"{ref} is in no string that a MOSFET switches: it would stay dark.")
        nm = net.box.part[ref].nm
        if not NM[0] <= nm <= NM[1]:
            found.append(
                f"{ref} gives {nm:g} nm; receivers see {NM[0]} nm to {NM[1]} nm best, and what is "
                f"much shorter is seen glowing."
            )
    ways = sum(many for many, _ in emitters.RINGS[net.box.product])
    if len(refs) != ways:
        found.append(f"There are {len(refs)} emitters, and holes for {ways}.")
    for string in strings:
        found += _string(net, string)
    return [*found, *_driven(net), *_coupled(net), *_fed(net), *_eyes(net)]


def _string(net: Netlist, string: String) -> list[str]:
    parts, mosfet = net.box.part, net.box.part[string.mosfet]
    if not string.limiter or not string.sense_ohm:
        return [
            f"{string.mosfet} has no resistor to GND with a transistor across it that closes it: "
            f"nothing would limit its string's current."
        ]
    found = []
    most_ma, least_ma = string.most_ma(net), string.least_ma(net)
    for ref in string.emitters:
        if most_ma > parts[ref].max_ma:
            found.append(
                f"{ref} gets up to {most_ma:.0f} mA and stands {parts[ref].max_ma:.0f} mA: raise "
                f"its string's resistor."
            )
        if least_ma < parts[ref].max_ma * LEAST_PART - 1e-6:
            found.append(
                f"{ref} may get {least_ma:.0f} mA only; how far it reaches is reckoned with "
                f"{parts[ref].max_ma * LEAST_PART:.0f} mA at least."
            )
    sense = net.between(net.at(string.mosfet, "S"), "GND", "resistor")[0]
    watt = (most_ma / 1000) ** 2 * string.sense_ohm * emitters.LIT_PART
    if watt > sense.watt:
        found.append(
            f"{string.mosfet}'s resistor stands {sense.watt:g} W and would get {watt:.2f} W from "
            f"a carrier that never ends."
        )
    if string.mosfet_w(net) > mosfet.watt:
        found.append(
            f"{string.mosfet} stands {mosfet.watt:g} W in free air and would get "
            f"{string.mosfet_w(net):.2f} W from a carrier that never ends: lower the step-up."
        )
    if most_ma > mosfet.max_ma:
        found.append(
            f"{string.mosfet} gets {most_ma:.0f} mA and stands {mosfet.max_ma:.0f} mA only."
        )
    spare_v = left_v(net) - string.wants_v(net)
    if spare_v < 0:
        found.append(
            f"{string.emitters[0]}'s string wants {string.wants_v(net):.2f} V and may get "
            f"{left_v(net):.2f} V at a long burst's end: its current would fall."
        )
    return found


def left_v(net: Netlist) -> float:
    """Return the least voltage at the strings, at the end of a telegram's longest burst."""
    mean_ma = emitters.most_ma(net) * emitters.telegram_lit_ms() / emitters.telegram_ms()
    fed_v = emitters.supply_v(net)[0] - mean_ma / 1000 * emitters.feed_ohm(net)
    return fed_v - emitters.sags_v(net)


def _driven(net: Netlist) -> list[str]:
    """Each MOSFET's gate is on the driver by a resistor that lets its limit close it."""
    found = []
    low_v, high_v = emitters.supply_v(net)
    for ref in net.refs("driver"):
        part = net.box.part[ref]
        if net.at(ref, "INB") != "GND":
            found.append(f"{ref}'s INB is not on GND: an input that is not used may not hang.")
        if net.at(ref, "GND") != "GND":
            found.append(f"{ref}'s GND is not on GND: its legs are swapped, and it would break.")
        if net.at(ref, "VDD") != emitters.supply(net):
            found.append(f"{ref}'s VDD is not on the emitters' supply.")
        elif not part.supply_v[0] <= low_v <= high_v <= part.supply_v[1]:
            found.append(
                f"{ref} would get {low_v:.1f} to {high_v:.1f} V and works from "
                f"{part.supply_v[0]:g} to {part.supply_v[1]:g} V."
            )
    drives = {net.at(ref, "OUTA") for ref in net.refs("driver")}
    for string in emitters.strings(net):
        gate, part = net.at(string.mosfet, "G"), net.box.part[string.mosfet]
        series = [one for one, far in net.beyond(gate, "resistor") if far in drives]
        if not series:
            found.append(
                f"{string.mosfet}'s gate is not on the driver by a resistor: its limit could not "
                f"close it."
            )
            continue
        if high_v > part.gate_v or high_v * 1.5 > part.volt:
            found.append(
                f"{string.mosfet} stands {part.gate_v:g} V at its gate and {part.volt:g} V in "
                f"all; it may get {high_v:.1f} V, and half as much again is to spare."
            )
        sunk_ma = high_v / series[0].ohm * 1000
        if string.limiter and sunk_ma > net.box.part[string.limiter].max_ma / 2:
            found.append(
                f"{string.limiter} has to sink {sunk_ma:.0f} mA to close {string.mosfet}: raise "
                f"the gate's resistor."
            )
        watt = high_v**2 / series[0].ohm * emitters.LIT_PART
        if watt > series[0].watt:
            found.append(
                f"{string.mosfet}'s gate resistor stands {series[0].watt:g} W and may get "
                f"{watt:.2f} W."
            )
    return found


def _coupled(net: Netlist) -> list[str]:
    """A capacitor stands between pin and driver: light that lasts does not get through."""
    way = emitters.coupling(net)
    if way is None:
        return [
            "No capacitor stands between the emitters' pin and the driver: a board that stops in "
            "mid-pulse would leave the emitters lit."
        ]
    found = []
    if way.bleed == float("inf"):
        return [
            "Nothing empties the capacitor before the driver to GND: its input would hang in the "
            "air, and the emitters might stay lit."
        ]
    if way.clamp_v == float("inf"):
        return [
            "No diode from GND holds the driver's input up while the pin is low: a burst would "
            "sink and grow too weak to be taken."
        ]
    driver = net.box.part[net.refs("driver")[0]]
    pin_v = net.box.supply.high_v
    if way.high_v(pin_v) < driver.high_v:
        found.append(
            f"The driver gets {way.high_v(pin_v):.2f} V at a pulse's end and takes "
            f"{driver.high_v:g} V for high: the emitters might stay dark."
        )
    dark_us = way.dark_us(pin_v, driver.low_v)
    if dark_us > DARK_MOST_US:
        found.append(
            f"A pin that stays high would light the emitters for {dark_us:.0f} us; more than "
            f"{DARK_MOST_US} us is no pulse: take a smaller capacitor."
        )
    if way.series < pin_v / chip.PIN_MA * 1000:
        found.append(
            f"{way.series:g} Ohm stand between the emitters' pin and the capacitor: as it fills, "
            f"the pin would give over {chip.PIN_MA:.0f} mA."
        )
    return found


def _fed(net: Netlist) -> list[str]:
    """The step-up gives a telegram's mean, asks no more than the charger's output lets through."""
    ref = emitters.step_up(net)
    if not ref:
        return ["No step-up feeds the emitters by a resistor: a full capacitor would stop it."]
    found = []
    part, box = net.box.part[ref], net.box
    for one in emitters.store(net):
        if one.volt < part.most_v:
            found.append(
                f"A capacitor at the emitters stands {one.volt:g} V; {ref}, turned up, gives "
                f"{part.most_v:g} V, and it would burst."
            )
    least_v = box.end_v()
    if emitters.telegram_ma(net, least_v) > part.limit_ma:
        found.append(
            f"A telegram takes {emitters.telegram_ma(net, least_v):.0f} mA of {ref}'s input, "
            f"which gives {part.limit_ma:.0f} mA."
        )
    feed = net.between(net.at(ref, "OUT+"), emitters.supply(net), "resistor")[0]
    gives_ma = part.limit_ma * part.yields * net.supply_v(net.at(ref, "IN+"))[1] / part.out_v[1]
    endless_ma = min(gives_ma, emitters.most_ma(net) * emitters.LIT_PART)
    watt = (endless_ma / 1000) ** 2 * feed.ohm
    if watt > feed.watt:
        found.append(
            f"The resistor behind {ref} stands {feed.watt:g} W and would get {watt:.2f} W from a "
            f"carrier that never ends."
        )
    return found


def _eyes(net: Netlist) -> list[str]:
    found = []
    if emitters.eye_w_m2(net) > emitters.CORNEA_W_M2:
        found.append(
            f"An eye {emitters.EYE_M} m away may get {emitters.eye_w_m2(net):.0f} W/m2; IEC "
            f"62471's exempt group ends at {emitters.CORNEA_W_M2:.0f}."
        )
    if emitters.eye_w_m2_sr(net) > emitters.eye_most_w_m2_sr():
        found.append(
            f"An emitter may give {emitters.eye_w_m2_sr(net):.0f} W/m2/sr; IEC 62471's exempt "
            f"group ends at {emitters.eye_most_w_m2_sr():.0f}."
        )
    return found


def longest_burst_us() -> float:
    """Return how long the longest burst lasts, lit and dark."""
    return bursts.LONG_BURST * 1_000_000 / bursts.CARRIER_HZ
