"""The tables of docs/makers/hardware.md, as Markdown, each computed from box.toml."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from hardware import (
    chip,
    power,
    reach,
    rules_pins,
    rules_signals,
    rules_sound,
    rules_supply,
    tables_infrared,
)
from hardware.formulas import (
    dbv,
    e24_below,
    level_at_db,
    parallel_ohm,
    pull_up_least_ohm,
    pull_up_most_ohm,
    safe_minutes,
)
from hardware.load import REFERENCE, box_of, variants
from hardware.markdown import table
from hardware.model import Box, Part
from hardware.netlist import Netlist
from hardware.sheet import value

METRES = (1, 2, 5)
ON_USB = "link"  # the state in which the cable feeds the board
REMOTE = "remote"  # the variant that is no box


def tables(data: dict[str, Any]) -> dict[str, str]:
    """Return all tables by the names of their markers."""
    box, remote = box_of(data), box_of(data, REMOTE)
    return {
        "remote_pins": pins(remote),
        "remote_nets": nets(remote),
        "remote_figures": tables_infrared.remote(remote),
        "repeater_figures": tables_infrared.repeater(box),
        "pins": pins(box),
        "nets": nets(box),
        "figures": figures(box),
        "states": states(box),
        "batteries": batteries(box),
        "voltages": voltages(box),
        "usb": usb(box),
        "displays": displays(box),
        "sounders": sounders(box),
        "changes": changes(data),
    }


def pins(box: Box) -> str:
    """Return what each of the board's pins is for."""
    net = Netlist(box)
    rows: list[tuple[object, ...]] = []
    for name, pin in sorted(box.pins.by_name().items(), key=lambda item: item[1]):
        at = net.at("U1", name)
        free = "free for one more button" if name.startswith("button") else "free"
        goes = _others(box, at, "U1") if at else free
        rows.append((f"GP{pin}", chip.EDGE[pin], name.replace("_", " "), goes))
    for name, edge in chip.EDGE_SUPPLY.items():
        rows.append((name, edge, "supply", _others(box, net.at("U1", name), "U1")))
    rows.append(("GND", ", ".join(map(str, chip.EDGE_GND)), "minus", "all of net GND"))
    return table(("pin", "edge", "for", "goes to"), rows)


def nets(box: Box) -> str:
    """Return what is joined to what."""
    rows = [(name, _spelt(box, ends)) for name, ends in box.net.items()]
    return table(("net", "joins"), rows)


def _others(box: Box, net: str, ref: str) -> str:
    return _spelt(box, (end for end in box.net[net] if not end.startswith(f"{ref}.")))


def _spelt(box: Box, ends: Iterable[str]) -> str:
    return ", ".join(end.replace(".", " ", 1) for end in ends)


def figures(box: Box) -> str:
    """Return the figures that the rules compare."""
    net = Netlist(box)
    own = box.part["R1"].ohm
    modules = [box.part[ref].pull_up_ohm for ref in net.refs("module")]
    modules = [ohm for ohm in modules if ohm]
    most = pull_up_most_ohm(box.bus.rise_ns, box.bus.stated_pf)
    lamps = box.part["L1"]
    lamp_v = net.supply_v(net.at("L1", "VDD"))
    line_v = rules_sound.line_level_v(net)
    draws = rules_pins.draws_ma(net)
    charge_ma = rules_supply.charge_ma(net)
    rows = [
        ("bus pull-ups, ours alone", f"{own:.0f} Ohm",
         f"at most {most:.0f} for {box.bus.stated_pf:.0f} pF; E24 below it {e24_below(most):.0f}"),
        ("bus pull-ups with the modules' own", f"{parallel_ohm(own, *modules):.0f} Ohm",
         f"at least {pull_up_least_ohm(box.supply.logic_v):.0f}"),
        ("lamps' supply", f"{lamp_v[0]:.2f} to {lamp_v[1]:.2f} V",
         f"{lamps.supply_v[0]} to {lamps.supply_v[1]} V"),
        ("lamps' data wanted at most", f"{lamps.high_part * lamp_v[1]:.2f} V",
         f"the board gives {box.supply.high_v:.2f}"),
        ("lamps at their cap, all colours", f"{rules_signals.lamps_most_ma(net):.0f} mA",
         f"{box.supply.lamp_rail_ma:.0f} mA"),
        ("loudspeaker, peak", f"{rules_sound.speaker_ma(net):.0f} mA",
         f"its pin gives {draws['sounder']:.1f} of {chip.PIN_MA:.0f} mA to the transistor"),
        *tables_infrared.receivers(box),
        ("all pins together", f"{sum(draws.values()):.1f} mA", f"{chip.ALL_PINS_MA:.0f} mA"),
        ("line output into 10 kOhm", f"{line_v:.2f} V, {dbv(line_v):.0f} dBV",
         f"{rules_sound.LINE_MOST_V} V"),
        ("battery gauge, full reading", f"{rules_supply.gauge_full_mv(net) / 1000:.1f} V",
         f"the battery has {net.supply_v(net.gauge_top())[1]:.1f} V at most"),
        ("from a USB port while charging", f"{charge_ma + box.board_draw.busy_ma:.0f} mA",
         f"{box.supply.port_ma:.0f} mA"),
    ]  # fmt: skip
    return table(("what", "is", "may be"), rows)


def states(box: Box) -> str:
    """Return what each state takes from the reference battery."""
    battery = box.battery_fitted()
    assert battery is not None
    rows = []
    for name, state in box.state.items():
        draw = power.draw(box, state, battery)
        parts = [draw.board_ma, draw.display_ma, draw.lamps_ma, draw.sounder_ma + draw.gauge_ma]
        parts.append(draw.emitters_ma)
        cells = [f"{part:.0f}" if part >= 1 else f"{part:.1f}" for part in parts]
        if name == ON_USB:
            parts[:2], cells[:2] = [0.0, 0.0], ["USB's", "USB's"]
        rows.append((name, state.what, *cells, f"**{sum(parts):.0f}**"))
    head = (
        "state",
        "what",
        "board",
        "display",
        "lamps",
        "sounder, gauge",
        "emitters",
        "mA from the cell",
    )
    return table(head, rows)


def batteries(box: Box) -> str:
    """Return how long each choice of battery lasts."""
    rows = []
    for battery in box.battery:
        lasts = power.runtime(box, battery)
        enough = "yes" if lasts.aged_h >= box.class_day.hours else "no"
        if enough == "no" and lasts.new_h >= box.class_day.hours:
            enough = "while new"
        low = f"{battery.low_mv / 1000:.2f} V: {lasts.reserve_h:.1f} h" if battery.low_mv else "-"
        rows.append(
            (
                battery.what, f"{lasts.class_ma:.0f} mA", f"{lasts.new_h:.1f}",
                f"{lasts.aged_h:.1f}", f"{lasts.busy_h:.1f}", low, enough,
            )
        )  # fmt: skip
    head = (
        "battery", "in class", "hours new", "hours aged", "hours new, chip always busy",
        "no start set under, and what is left then", f"{box.class_day.hours:.0f} h",
    )  # fmt: skip
    return table(head, rows)


def voltages(box: Box) -> str:
    """Return what happens while the reference battery empties."""
    battery = box.battery_fitted()
    assert battery is not None
    lasts = power.runtime(box, battery)
    low_v, least_v = box.firmware.battery_low_mv / 1000, box.end_v()
    rows = [
        (f"{battery.full_v * battery.cells:.2f} V", "full; the charger stops"),
        (
            f"{low_v:.2f} V",
            f"low: the host sets no start; {lasts.reserve_h:.1f} h of class are left",
        ),
        (f"{least_v:.2f} V", "blue, then green lamps fade; screen, sounder and log go on"),
        (f"{battery.empty_v:.2f} V", "the cell's protection opens: the box is off at once"),
    ]
    return table(("at the cell", "what happens"), rows)


def usb(box: Box) -> str:
    """Return what each state takes at 5 V, and whether a power bank stays awake."""
    sleep_ma = max(battery.sleep_ma for battery in box.battery)
    rows = []
    for name, state in box.state.items():
        current_ma = power.usb_ma(box, state)
        stays = "yes" if current_ma > sleep_ma else "perhaps not"
        rows.append((name, f"{current_ma:.0f} mA", stays))
    return table(("state", "at 5 V", f"over {sleep_ma:.0f} mA, so a bank stays on"), rows)


def displays(box: Box) -> str:
    """Return how far each display is read."""
    rows = []
    for display in box.display:
        reads = {one.what: one for one in reach.legible(display)}
        cells = [
            f"{reads[what].easy_m:.1f} / {reads[what].just_m:.1f} m"
            for what in ("seconds, the last five", "seconds", "reps of one bib")
        ]
        rows.append(
            (
                f"{display.inch} inch", f"{display.wide_mm:g} x {display.high_mm:g} mm", *cells,
                f"{power.display_ma(display, box.state['work'].lit):.0f} mA",
                "yes" if display.driver else "no", f"{display.price:.2f}",
            )
        )  # fmt: skip
    head = (
        "panel", "lit area", "last five seconds, easily / just", "seconds", "reps of one bib",
        "in a window", "our driver", f"price, {box.currency}",
    )  # fmt: skip
    return table(head, rows)


def sounders(box: Box) -> str:
    """Return how loud each sounder is, beside a class."""
    rows: list[tuple[object, ...]] = []
    for sounder in box.sounder:
        level = reach.level_db(box, sounder)
        if level is None:
            rows.append((sounder.what, *("as the room's" for _ in METRES), "the room's volume"))
            continue
        levels = [level_at_db(level, 1, metres) for metres in METRES]
        under = reach.CLASS_DB - levels[1]
        rows.append((sounder.what, *(f"{db:.0f} dB" for db in levels), f"{under:.0f} dB under"))
    head = ("sounder", *(f"at {m} m" for m in METRES), f"at 2 m beside a class of {reach.CLASS_DB}")
    rows.append(
        ("a class itself", f"{reach.CLASS_DB} dB(A)", "", "",
         f"{safe_minutes(reach.CLASS_DB):.0f} min are a day's dose (NIOSH)")
    )  # fmt: skip
    return table(head, rows)


def changes(data: dict[str, Any]) -> str:
    """Return what each variant changes."""
    rows = []
    for name in variants(data)[1:]:
        if name == REMOTE:
            continue
        change = data["variant"][name]
        box = box_of(data, name)
        reference = box_of(data, REFERENCE)
        new = [f"{ref}: {box.part[ref].what}" for ref in change.get("part", {})]
        out = ", ".join(change.get("drop", ())) or "nothing"
        moved = [f"{net}: {_spelt(box, ends)}" for net, ends in change.get("net", {}).items()]
        low = f"BATTERY_LOW_MV = {box.firmware.battery_low_mv}"
        board = "" if box.firmware == reference.firmware else f" `board_local.py`: `{low}`."
        rows.append((name, out, "; ".join(new), ("; ".join(moved) or "as they are") + "." + board))
    return table(("build", "left out", "instead, or added", "ends that go elsewhere"), rows)


def named(part: Part) -> str:
    """Return a part's name on an order."""
    if part.kind == "resistor":
        return f"Resistor {value(part)}, {part.watt:g} W, 1 %"
    if part.kind == "capacitor":
        sort = "Electrolytic" if part.polar else ("Film" if part.volt >= 63 else "Ceramic")
        return f"{sort} capacitor {value(part)}, {part.volt:g} V or more"
    return part.what
