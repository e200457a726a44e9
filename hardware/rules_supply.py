"""Rules of supply: who may feed whom, the battery's gauge, capacitors, currents, charging."""

from __future__ import annotations

from hardware import emitters
from hardware.formulas import parallel_ohm
from hardware.netlist import Netlist
from hardware.power import board_most_ma
from hardware.rules_signals import lamps_most_ma
from hardware.rules_sound import speaker_ma

LAMP_BULK_NF = 10_000  # common practice: 10 uF at a short strip, more where it may
NEAR_NF = 100  # common practice, at every part that switches
CHARGE_PART = 0.5  # common practice: half of its capacity an hour is gentle to a cell
GAUGE_OFF = 0.06  # what the pin's own load may take from a reading before it is calibrated


def no_back_feed(net: Netlist) -> list[str]:
    """USB never feeds the cell but by its charger, and the cell never feeds USB."""
    found = []
    usb = net.usb_net()
    cells = {net.at(ref, "+") for ref in net.refs("cell")}
    for cell in cells:
        path = net.reached(usb, charging=False).get(cell)
        if path is not None:
            way = ", ".join(path)
            found.append(
                f"USB's 5 V reach the battery through {way}, past any charger: a lithium cell may "
                f"burn, others leak. Feed the board through a diode of the battery's own."
            )
        if usb in net.reached(cell, charging=True):
            found.append("The battery reaches USB's 5 V: it would feed the laptop.")
    if cells and not net.refs("charger"):
        battery = net.box.battery_fitted()
        if battery is not None and battery.name == "lithium":
            found.append("The lithium cell has no charger board, and so no protected output.")
    board_v = net.supply_v(net.at(net.refs("board")[0], "VSYS"))
    if board_v[1] > 5.5 or board_v[0] < 1.8:
        found.append(
            f"VSYS may have {board_v[0]:.2f} to {board_v[1]:.2f} V; the Pico takes 1.8 to 5.5 V."
        )
    return found


def poles(net: Netlist) -> list[str]:
    """The cell, what it is joined to, and every electrolytic capacitor are the right way round."""
    found = []
    for ref in net.refs("cell"):
        for charger in net.refs("charger"):
            for pole in "+-":
                if net.at(ref, pole) != net.at(charger, f"B{pole}"):
                    found.append(
                        f"{ref}'s {pole} is not on {charger}'s B{pole}: a cell the wrong way round "
                        "drives current through the charger at once, and may burst or burn."
                    )
        if not net.refs("charger") and net.at(ref, "-") != "GND":
            found.append(f"{ref}'s - is not on GND: the cell is the wrong way round.")
    for ref in net.refs("charger", "boost"):
        wrong = [end for end in ("IN-", "OUT-") if net.at(ref, end) != "GND"]
        found += [f"{ref}'s {end} is not on GND: its wires are swapped." for end in wrong]
    for ref, part in net.box.part.items():
        if {"+", "-"} == set(part.ends()) and part.kind != "cell" and net.at(ref, "+") == "GND":
            found.append(f"{ref}'s + is on GND: an electrolytic that way round bursts.")
    return found


def gauge(net: Netlist) -> list[str]:
    """The gauge reads the cell itself, before any diode, within what its pin may see."""
    found = []
    at = net.at(net.refs("board")[0], "gauge")
    top = net.gauge_top()
    ohms = net.gauge_ohms()
    if not top or ohms is None:
        return ["The gauge has no divider: two resistors, from the battery and to ground."]
    sources = {net.at(ref, "+") for ref in net.refs("cell")} or {net.usb_net()}
    paths = net.reached(next(iter(sources)), charging=True)
    diodes = [name for name in paths.get(top, ()) if name.startswith("D")]
    if net.refs("cell") and (top not in paths or diodes):
        way = f"behind {', '.join(diodes)}" if diodes else "not on the battery"
        found.append(
            f"The gauge is {way}: on a cable it would read USB, and a flat cell would pass for "
            f"full. Put its divider at the battery."
        )
    high_v = net.supply_v(top)[1] * ohms[1] / sum(ohms)
    if high_v > net.box.supply.logic_v:
        found.append(f"The gauge's pin may see {high_v:.2f} V; 3.3 V is a full reading.")
    loaded = parallel_ohm(*ohms) / (parallel_ohm(*ohms) + net.box.gauge.pin_ohm)
    if loaded > GAUGE_OFF:
        found.append(
            f"The gauge's divider is too weak for its pin: readings may be {loaded:.0%} low."
        )
    if not net.between(at, "GND", "capacitor"):
        found.append("The gauge has no capacitor at its pin: readings would jump with the lamps.")
    return found


def gauge_full_mv(net: Netlist) -> float:
    """Return the battery's voltage at the converter's full reading, in mV."""
    ohms = net.gauge_ohms()
    return net.box.gauge.full_mv * sum(ohms) / ohms[1] if ohms else 0.0


def decoupling(net: Netlist) -> list[str]:
    """The lamps and the display have a large and a small capacitor; all stand their voltage."""
    found = []
    board = net.refs("board")[0]
    for ref in net.refs("lamps"):
        found += _near(net, net.at(ref, "VDD"), "the lamps")
    if net.refs("emitter"):
        found += _near(net, emitters.supply(net), "the emitters")
        found += _near(net, net.at(emitters.step_up(net), "IN+"), "the step-up")
    found += _near(net, net.at(board, "3V3"), "the display")
    for ref in net.refs("capacitor"):
        part = net.box.part[ref]
        supplies = [net.supply_v(net.at(ref, end))[1] for end in part.ends()]
        if part.volt < 1.5 * max(supplies):
            found.append(
                f"{ref} stands {part.volt:.0f} V and may get {max(supplies):.1f} V: take half as "
                f"much again."
            )
    return found


def _near(net: Netlist, supply: str, what: str) -> list[str]:
    sizes = [part.nf for part in net.between(supply, "GND", "capacitor")]
    if not any(size >= LAMP_BULK_NF for size in sizes):
        return [f"At {what} no capacitor of {LAMP_BULK_NF // 1000} uF or more steadies the supply."]
    if not any(NEAR_NF <= size < LAMP_BULK_NF for size in sizes):
        return [f"At {what} no small capacitor ({NEAR_NF} nF) takes the quick pulses."]
    return []


def most_ma(net: Netlist) -> float:
    """Return what may be taken of the battery for seconds; a capacitor gives the pulses."""
    return always_ma(net) + emitters.busy_ma(net, net.box.end_v())


def always_ma(net: Netlist) -> float:
    """Return what may be taken of the battery without the emitters."""
    return lamps_most_ma(net) + speaker_ma(net) + board_most_ma(net.box)


def currents(net: Netlist) -> list[str]:
    """Fuse, diodes, resistor and the board's 3.3 V carry what they must."""
    found = []
    box = net.box
    takes_ma = most_ma(net)
    for ref in net.refs("fuse"):
        if box.part[ref].hold_ma < takes_ma * 1.2:
            found.append(
                f"{ref} holds {box.part[ref].hold_ma:.0f} mA, and the box may take {takes_ma:.0f} "
                f"mA: with a fifth to spare it would open in class."
            )
    for ref in net.refs("diode"):
        if net.at(ref, "A") == "GND":
            continue  # at the driver's input: the pin's few mA
        at_coil = any(box.part[other].kind == "speaker" for other, _ in net.on(net.at(ref, "A")))
        carries = speaker_ma(net) if at_coil else takes_ma
        if box.part[ref].max_ma < carries:
            found.append(f"{ref} stands {box.part[ref].max_ma:.0f} mA and may get {carries:.0f}.")
    surge_ma = always_ma(net) + sum(box.part[ref].limit_ma for ref in net.refs("boost"))
    for ref in net.refs("charger"):
        if surge_ma > box.part[ref].max_ma:
            found.append(
                f"As the emitters' capacitor fills {surge_ma:.0f} mA may be taken; {ref}'s "
                f"protection opens at {box.part[ref].max_ma:.0f} mA, and the {box.product} would "
                f"be off."
            )
    rail_ma = box.display_fitted().lit_ma + sum(part.draw_ma for part in box.part.values())
    if rail_ma > box.supply.rail_ma:
        found.append(
            f"Display, clock and receivers take {rail_ma:.0f} mA; the board's 3.3 V give "
            f"{box.supply.rail_ma:.0f} mA."
        )
    return found


def charge_ma(net: Netlist) -> float:
    """Return the charger's current from its programming resistor, 0 without one."""
    ohms = [
        part.ohm for part in net.box.part.values() if part.on in net.refs("charger") and part.on
    ]
    return net.box.supply.charge_volt_ohm / ohms[0] * 1000 if ohms else 0.0


def charging(net: Netlist) -> list[str]:
    """The charger asks no more of its USB port and its cell than they give and take."""
    if not net.refs("charger"):
        return []
    if any(net.at(ref, "IN+") != net.usb_net() for ref in net.refs("charger")):
        return ["The charger's input is not on USB's 5 V: the cell would never be charged."]
    current_ma = charge_ma(net)
    if not current_ma:
        return ["The charger has no programming resistor stated: its current is not known."]
    found = []
    box = net.box
    total_ma = current_ma + box.board_draw.busy_ma
    if total_ma > box.supply.port_ma:
        found.append(
            f"Charging at {current_ma:.0f} mA, a box takes {total_ma:.0f} mA from its port, which "
            f"gives {box.supply.port_ma:.0f} mA: raise the charger's programming resistor."
        )
    battery = box.battery_fitted()
    if battery is not None and current_ma > battery.capacity_ah * 1000 * CHARGE_PART:
        found.append(
            f"{current_ma:.0f} mA charge a cell of {battery.capacity_ah} Ah too fast; "
            f"{CHARGE_PART:g} of its capacity an hour is gentle."
        )
    return found
