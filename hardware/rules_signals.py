"""Rules of signals: the bus, the lamps, the buttons."""

from __future__ import annotations

from handbell_core.taps import CLOSED_US
from hardware import chip
from hardware.formulas import (
    e24_below,
    is_e24,
    parallel_ohm,
    pull_up_least_ohm,
    pull_up_most_ohm,
    settle_us,
)
from hardware.netlist import Netlist

COLOUR_MA = 20.0  # quoted: what a WS2812B gives a colour
TAP_US = 2_000  # the budget of a tap's time; half of it is left to the filter
WRONG_V = 5.25  # what a button's wire may touch: USB
WETTING_MA = 1.0  # common practice: less does not keep a snap switch's contacts clean


def pull_ups(net: Netlist) -> list[str]:
    """The bus rises in time with our resistors alone, and can be pulled low with all of them."""
    box = net.box
    found = []
    board = net.refs("board")[0]
    pf = box.bus.wires_pf + box.bus.board_pf + sum(part.bus_pf for part in box.part.values())
    if pf > box.bus.stated_pf:
        found.append(
            f"The bus has {pf:.0f} pF, more than the {box.bus.stated_pf:.0f} pF it is laid out for."
        )
    most = pull_up_most_ohm(box.bus.rise_ns, box.bus.stated_pf)
    least = pull_up_least_ohm(box.supply.logic_v)
    for name in ("sda", "scl"):
        at = net.at(board, name)
        own = [part.ohm for part in net.between(at, net.at(board, "3V3"), "resistor")]
        if not own:
            found.append(f"{name} has no pull-up: it would never be high.")
            continue
        ohm = parallel_ohm(*own)
        if ohm > most:
            found.append(
                f"{name} has a pull-up of {ohm:.0f} Ohm, too weak: {box.bus.stated_pf:.0f} pF rise "
                f"within {box.bus.rise_ns:.0f} ns by {most:.0f} Ohm at most (UM10204); "
                f"{e24_below(most):.0f} Ohm is the next in E24."
            )
        modules = [box.part[ref].pull_up_ohm for ref, _ in net.on(at)]
        all_ohm = parallel_ohm(*own, *(value for value in modules if value))
        if all_ohm < least:
            found.append(
                f"{name} has {all_ohm:.0f} Ohm of pull-up with those on the modules, too strong: a "
                f"part pulls 3 mA low, so {least:.0f} Ohm is the least (UM10204)."
            )
    return found


def lamp_data(net: Netlist) -> list[str]:
    """A high level from the board is one for the lamps at every voltage that may feed them."""
    box = net.box
    found = []
    for ref in net.refs("lamps"):
        lamps = box.part[ref]
        low_v, high_v = net.supply_v(net.at(ref, "VDD"))
        wanted_v = lamps.high_part * high_v
        if wanted_v > box.supply.high_v:
            found.append(
                f"The lamps may be fed with {high_v:.2f} V and then want {wanted_v:.2f} V of data, "
                f"but the board gives {box.supply.high_v:.2f} V: shift the level or lower the "
                f"supply by a diode."
            )
        if low_v < lamps.supply_v[0]:
            found.append(
                f"The lamps may be fed with {low_v:.2f} V only; below {lamps.supply_v[0]:.1f} V "
                f"blue and green fail."
            )
        if high_v > lamps.supply_v[1]:
            found.append(
                f"The lamps may be fed with {high_v:.2f} V; above {lamps.supply_v[1]:.1f} V they "
                f"break."
            )
        series = net.beyond(net.at(ref, "DIN"), "resistor")
        if not series or series[0][0].ohm < 220:
            found.append(
                "The lamps' data has no resistor of 220 Ohm or more: with the lamps unfed the "
                "board would feed them through their data input."
            )
    return found


def lamp_current(net: Netlist) -> list[str]:
    """A colour draws no more than the part gives, and all lamps no more than their supply."""
    box = net.box
    found: list[str] = []
    lamps = box.lamps()
    if lamps is None:
        return found
    rail_ma = box.supply.lamp_rail_ma
    if lamps.colour_ma > COLOUR_MA:
        found.append(
            f"The lamps are stated with {lamps.colour_ma:.0f} mA a colour; a WS2812B gives "
            f"{COLOUR_MA:.0f} mA, and what draws more is another part, too hot in a closed case."
        )
    most_ma = lamps_most_ma(net)
    if most_ma > rail_ma:
        found.append(
            f"All {lamps.count} lamps may draw {most_ma:.0f} mA, more than the {rail_ma:.0f} mA "
            f"that their wires and the budget are laid out for: lower lamp_cap."
        )
    if lamps.count != box.firmware.lamps:
        found.append(
            f"The strip has {lamps.count} lamps, the firmware is to drive {box.firmware.lamps}."
        )
    return found


def lamps_most_ma(net: Netlist) -> float:
    """Return what the strip draws with every colour at the firmware's cap, 0 without one."""
    lamps = net.box.lamps()
    if lamps is None:
        return 0.0
    lit = lamps.colour_ma * 3 * net.box.firmware.lamp_cap / 255
    return lamps.count * (lit + lamps.dark_ma)


def buttons(net: Netlist) -> list[str]:
    """A button's pin is behind a resistor and a capacitor that its times allow for."""
    found = []
    board = net.refs("board")[0]
    for n, ref in enumerate(net.refs("button"), 1):
        at = net.at(board, f"button{n}")
        wire = net.at(ref, "1")
        if at == wire:
            found.append(
                f"Button {n} goes straight to its pin: static from a hand, or a wire on 5 V, would "
                f"break the chip. Put a resistor between."
            )
            continue
        series = net.between(at, wire, "resistor")
        pull_up = net.between(wire, net.at(board, "3V3"), "resistor")
        filters = net.between(at, "GND", "capacitor")
        if not series or not pull_up or not filters:
            found.append(f"Button {n} wants a series resistor, a pull-up and a capacitor.")
            continue
        found += _button(n, series[0].ohm, pull_up[0].ohm, filters[0].nf, net.box.supply.logic_v)
    if len(net.refs("button")) != net.box.buttons:
        found.append("The number of buttons in the nets is not that of the box.")
    return found


def _button(n: int, series: float, pull_up: float, nf: float, logic_v: float) -> list[str]:
    found = []
    miswired_ma = (WRONG_V - logic_v) / series * 1000
    if miswired_ma > chip.CLAMP_MA:
        found.append(
            f"Button {n}: its wire on {WRONG_V:.2f} V would push {miswired_ma:.1f} mA into the "
            f"pin; {chip.CLAMP_MA:.0f} mA is the most. Raise its series resistor."
        )
    wetting_ma = logic_v / pull_up * 1000
    if wetting_ma < WETTING_MA:
        found.append(
            f"Button {n}: {wetting_ma:.2f} mA do not keep its contacts clean; {WETTING_MA:.0f} mA "
            f"do. Lower its pull-up."
        )
    opens_us = settle_us(series + pull_up, nf, 0, logic_v, chip.VIH_V)
    closes_us = settle_us(series, nf, logic_v, 0, chip.VIL_V)
    slowest_us = max(opens_us, closes_us)
    if slowest_us > TAP_US / 2:
        found.append(
            f"Button {n}: its capacitor delays an edge by {slowest_us:.0f} us; half of a tap's "
            f"budget is {TAP_US // 2} us, and the firmware settles within {CLOSED_US} us."
        )
    return found


def off_series(net: Netlist) -> list[str]:
    """Return the resistors that are no E24 value."""
    return [
        f"{ref} has {part.ohm:g} Ohm, which is not sold in E24."
        for ref, part in net.box.part.items()
        if part.kind == "resistor" and not is_e24(part.ohm)
    ]
