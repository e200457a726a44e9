"""Rules of infra-red: a box's receiver, a remote's emitters, and the eyes before them."""

from __future__ import annotations

from hardware import emitters
from hardware.netlist import Netlist

# Vishay, TSOP382.. and TSOP384.., document 81733: the filter of a receiver's supply.
FILTER_OHM = (33, 1_000)
FILTER_NF = 100
NM = (940, 950)  # what receivers see best; the same sheet's kind, from memory
CARRIER_US = 1_000_000 / 38_000


def receiver(net: Netlist) -> list[str]:
    """A receiver's output goes to its pin, and its supply is the board's 3.3 V, filtered."""
    if "receiver" in net.box.free:
        return []
    board = net.refs("board")[0]
    refs = net.refs("receiver")
    if not refs:
        return ["The receiver's pin leads to no receiver."]
    found = []
    for ref in refs:
        if net.at(ref, "OUT") != net.at(board, "receiver"):
            found.append(f"{ref}'s OUT is not on the receiver's pin: the box would hear no remote.")
        if net.at(ref, "GND") != "GND":
            found.append(f"{ref}'s GND is not on GND: its legs are swapped, and it may break.")
        found += _fed(net, ref, net.at(ref, "VS"), net.at(board, "3V3"))
    return found


def _fed(net: Netlist, ref: str, at: str, logic: str) -> list[str]:
    part = net.box.part[ref]
    series = net.between(at, logic, "resistor")
    if not series:
        return [
            f"{ref} is not fed from the board's 3.3 V by a resistor of its own: the lamps' noise "
            f"would shorten its reach, and from more than 3.3 V it would overload its pin."
        ]
    found = []
    ohm = series[0].ohm
    if not FILTER_OHM[0] <= ohm <= FILTER_OHM[1]:
        found.append(
            f"{ref} has {ohm:g} Ohm before its supply; its sheet asks {FILTER_OHM[0]} Ohm to "
            f"{FILTER_OHM[1]} Ohm."
        )
    left_v = net.box.supply.logic_v - part.draw_ma / 1000 * ohm
    if left_v < part.supply_v[0]:
        found.append(f"{ref} would get {left_v:.2f} V; it works from {part.supply_v[0]} V on.")
    if not any(one.nf > FILTER_NF for one in net.between(at, "GND", "capacitor")):
        found.append(f"{ref} has no capacitor of more than {FILTER_NF} nF at its supply.")
    return found


def emitting(net: Netlist) -> list[str]:
    """Each emitter has a resistor and a transistor that carries it, and is dark at a start."""
    if "emitter" in net.box.free:
        return []
    refs = net.refs("emitter")
    if not refs:
        return ["The emitters' pin leads to no emitter."]
    found = []
    for ref in refs:
        found += _emitter(net, ref)
    switches = [ref for ref in net.refs("npn") if _emitters_on(net, net.at(ref, "C"))]
    for ref in refs:
        if not any(net.at(switch, "C") == net.at(ref, "K") for switch in switches):
            found.append(f"{ref} is not switched by a transistor: a pin can't carry it.")
    for switch in switches:
        found += _switch(net, switch)
    pin = net.at(net.refs("board")[0], "emitter")
    if not net.between(pin, "GND", "resistor"):
        found.append(
            "The emitters' pin has no resistor to GND: until the firmware runs the pin hangs in "
            "the air, and the emitters may be lit."
        )
    return found + _eyes(net)


def _emitters_on(net: Netlist, at: str) -> bool:
    return any(net.box.part[ref].kind == "emitter" for ref, _ in net.on(at))


def _emitter(net: Netlist, ref: str) -> list[str]:
    part = net.box.part[ref]
    if not emitters.series_ohm(net, ref):
        return [f"{ref} has no resistor of its own: the one that loses least would take it all."]
    found = []
    if not NM[0] <= part.nm <= NM[1]:
        found.append(
            f"{ref} gives {part.nm:g} nm; receivers see {NM[0]} nm to {NM[1]} nm best, and what is "
            f"much shorter is seen glowing."
        )
    high_v = net.supply_v(emitters.supply(net))[1]
    lit_ma = emitters.pulse_ma(net, high_v, ref)
    if lit_ma > part.max_ma:
        found.append(
            f"{ref} gets {lit_ma:.0f} mA and stands {part.max_ma:.0f} mA without a pause, as it "
            f"would have it from a board that stops in mid-pulse: raise its resistor."
        )
    for resistor, _ in net.beyond(net.at(ref, "A"), "resistor"):
        watt = (lit_ma / 1000) ** 2 * resistor.ohm
        if watt > resistor.watt:
            found.append(
                f"{ref}'s resistor stands {resistor.watt} W and would get {watt:.2f} W from a "
                f"board that stops in mid-pulse."
            )
    return found


def _switch(net: Netlist, switch: str) -> list[str]:
    found = []
    transistor = net.box.part[switch]
    if net.at(switch, "E") != "GND":
        found.append(f"{switch}'s E is not on GND: it would not open far enough.")
    carries_ma = emitters.switched_ma(net, switch)
    if carries_ma > transistor.max_ma:
        found.append(
            f"{switch} carries {carries_ma:.0f} mA of emitters, takes {transistor.max_ma:.0f} mA."
        )
    drive_ma = emitters.drive_ma(net, switch)
    if drive_ma * transistor.gain < carries_ma:
        found.append(
            f"{switch} gets {drive_ma:.1f} mA at its base and has a gain of {transistor.gain:.0f} "
            f"at least: it can't carry the {carries_ma:.0f} mA of its emitters."
        )
    if not net.between(net.at(switch, "B"), "GND", "resistor"):
        found.append(
            f"{switch} has no resistor from its base to GND: it would stay open for longer than "
            f"the {CARRIER_US * emitters.LIT_PART:.0f} us of a pulse."
        )
    return found


def _eyes(net: Netlist) -> list[str]:
    found = []
    if emitters.eye_w_m2(net) > emitters.CORNEA_W_M2:
        found.append(
            f"An eye {emitters.EYE_M} m away may get {emitters.eye_w_m2(net):.0f} W/m2; IEC "
            f"62471's exempt group ends at {emitters.CORNEA_W_M2:.0f}."
        )
    if emitters.eye_w_m2_sr(net) > emitters.RETINA_W_M2_SR:
        found.append(
            f"An emitter may give {emitters.eye_w_m2_sr(net):.0f} W/m2/sr; IEC 62471's exempt "
            f"group ends at {emitters.RETINA_W_M2_SR:.0f}."
        )
    return found
