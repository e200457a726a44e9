"""Rules of ends and pins: each wired once, each able to do its work, none overloaded."""

from __future__ import annotations

from hardware import chip
from hardware.netlist import Netlist

_ALONE = ("VBUS",)  # a net that may have one end: nothing of ours must be on it


def every_end_once(net: Netlist) -> list[str]:
    """Every end of every part is on one net, and every net joins something."""
    found = []
    count: dict[str, int] = {}
    for ends in net.box.net.values():
        for end in ends:
            count[end] = count.get(end, 0) + 1
    wanted = net.ends_wanted()
    for end in sorted(wanted - set(count)):
        found.append(f"{end} is on no net: it would hang in the air.")
    for end in sorted(set(count) - wanted):
        found.append(f"{end} is on net {net.net_of[end]}, but no part has such an end.")
    for end, times in sorted(count.items()):
        if times > 1:
            nets = [name for name, ends in net.box.net.items() if end in ends]
            found.append(f"{end} is on {times} nets ({', '.join(nets)}): that joins them.")
    for name, ends in net.box.net.items():
        if len(ends) == 1 and name not in _ALONE:
            found.append(f"Net {name} has one end only, {ends[0]}: it leads nowhere.")
    return found


def pins_can_do_it(net: Netlist) -> list[str]:
    """Every GPIO is used once, is on the board's edge, and has the function it is used for."""
    pins = net.box.pins
    names = pins.by_name()
    found = []
    for name, pin in names.items():
        others = [other for other, number in names.items() if number == pin and other != name]
        if others and name < min(others):
            found.append(f"GP{pin} is used for {name} and for {', '.join(others)}: once only.")
        if pin not in chip.EDGE:
            found.append(f"{name} is on GP{pin}, which is not on the board's edge.")
    blocks = {}
    for name, pin in (("sda", pins.sda), ("scl", pins.scl)):
        blocks[name], function = chip.i2c(pin)
        if function != name:
            found.append(f"{name} is on GP{pin}, which can only be {function}: the bus is dead.")
    if blocks["sda"] != blocks["scl"] or blocks["sda"] != 0:
        found.append(
            f"sda is on I2C{blocks['sda']} and scl on I2C{blocks['scl']}; the firmware uses I2C0."
        )
    if chip.pwm_slice(pins.line) != chip.pwm_slice(pins.sounder) or pins.line == pins.sounder:
        found.append(
            f"line (GP{pins.line}) and sounder (GP{pins.sounder}) are not the two channels of one "
            f"PWM slice, so they could not share the tone."
        )
    if pins.gauge not in chip.ANALOGUE:
        found.append(
            f"gauge is on GP{pins.gauge}, which has no converter; GP26, GP27 and GP28 have one."
        )
    return found


def pin_currents(net: Netlist) -> list[str]:
    """No pin gives more than its drive strength, and all together no more than the chip may."""
    found = []
    draws = draws_ma(net)
    for name, current_ma in draws.items():
        if current_ma > chip.PIN_MA:
            found.append(
                f"{name} would take {current_ma:.1f} mA from its pin, which is set to "
                f"{chip.PIN_MA:.0f} mA: drive it by a transistor or raise its resistor."
            )
    total_ma = sum(draws.values())
    if total_ma > chip.ALL_PINS_MA:
        found.append(
            f"All pins together carry {total_ma:.1f} mA; the chip allows {chip.ALL_PINS_MA:.0f} mA."
        )
    return found


def draws_ma(net: Netlist) -> dict[str, float]:
    """Return what each pin carries at most, in mA: driven high into its load, or pulled low.

    A resistor right at the pin limits it; a lamp's data input takes nothing but its capacitance.
    """
    box = net.box
    board = net.refs("board")[0]
    logic_v = box.supply.logic_v
    draws: dict[str, float] = {}
    for name in net.board_ends():
        at = net.at(board, name)
        if name not in box.pins.by_name() or not at:
            continue
        if name in ("sda", "scl"):
            draws[name] = logic_v / _bus_ohm(net, at) * 1000
            continue
        if name.startswith(("button", "clock", "gauge", "receiver")):
            continue  # inputs: they give nothing
        draws[name] = sum(
            _beyond_ma(net, part.ohm, far) for part, far in net.beyond(at, "resistor")
        )
        for ref, _ in net.on(at):
            part = box.part[ref]
            if part.kind == "speaker":
                draws[name] += logic_v / part.ohm * 1000
            elif part.kind == "npn":
                draws[name] += 1000.0  # a base without a resistor
    return draws


def _bus_ohm(net: Netlist, at: str) -> float:
    own = [part.ohm for part, _ in net.beyond(at, "resistor")]
    modules = [net.box.part[ref].pull_up_ohm for ref, _ in net.on(at)]
    return 1 / sum(1 / ohm for ohm in (*own, *modules) if ohm)


def _beyond_ma(net: Netlist, ohm: float, far: str) -> float:
    """Return the current through a resistor on a pin that is high."""
    high_v = net.box.supply.logic_v
    for ref, end in net.on(far):
        part = net.box.part[ref]
        if part.kind == "npn" and end == "B":
            return (high_v - part.base_v) / ohm * 1000
        if part.kind == "lamps":
            return 0.0
        if part.kind == "speaker":
            return high_v / (ohm + part.ohm) * 1000
    return high_v / ohm * 1000
