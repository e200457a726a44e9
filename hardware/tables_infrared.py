"""The tables of docs/makers/hardware.md that tell of infra-red light: a box's and a remote's."""

from __future__ import annotations

from hardware import (
    chip,
    emitters,
    power,
    rules_emitters,
    rules_infrared,
    rules_pins,
    rules_supply,
)
from hardware.formulas import stored_j
from hardware.markdown import table
from hardware.model import Box
from hardware.netlist import Netlist
from hardware.sheet import value

Row = tuple[str, str, str]


def receivers(box: Box) -> list[Row]:
    """Return the receivers' rows of the box's figures."""
    net = Netlist(box)
    first, *_ = net.refs("receiver")
    low, high = rules_infrared.FILTER_OHM
    return [
        ("each receiver's supply, filtered by",
         f"{box.part['RF1'].ohm:.0f} Ohm, {value(box.part['CF1'])}",
         f"{low} to {high} Ohm, over {rules_infrared.FILTER_NF} nF (Vishay, document 81733)"),
        (f"{box.receivers} receivers joined: what one pulls low",
         f"{rules_infrared.joined_ma(net):.2f} mA",
         f"{box.part[first].sink_ma:g} mA (from memory)"),
    ]  # fmt: skip


def repeater(box: Box) -> str:
    """Return the figures of a box's emitters."""
    net = Netlist(box)
    return table(
        ("what", "is", "may be"), [*_strings(net), *_driver(net), *_cell(net), *_eyes(net)]
    )


def remote(box: Box) -> str:
    """Return the figures of a remote: its emitters, and how long its cell lasts."""
    net = Netlist(box)
    battery = box.battery_fitted()
    assert battery is not None
    lasts = power.runtime(box, battery)
    draws = rules_pins.draws_ma(net)
    rows = [
        *_strings(net), *_driver(net), *_cell(net),
        ("all pins together", f"{sum(draws.values()):.1f} mA", f"{chip.ALL_PINS_MA:.0f} mA"),
        ("remote in class", f"{lasts.class_ma:.0f} mA", "-"),
        ("cell, new and aged", f"{lasts.new_h:.1f} h and {lasts.aged_h:.1f} h",
         f"of a box {box.class_day.hours:.0f} h are asked"),
        (f"class left at {box.firmware.battery_low_mv / 1000:.2f} V", f"{lasts.reserve_h:.1f} h",
         "1 h at least"),
        *_eyes(net),
    ]  # fmt: skip
    return table(("what", "is", "may be"), rows)


def _strings(net: Netlist) -> list[Row]:
    strings = emitters.strings(net)
    first, parts = strings[0], net.box.part
    typical_v = sum(parts[ref].typical_v for ref in first.emitters)
    diode = parts[first.emitters[0]]
    set_v = sum(emitters.supply_v(net)) / 2
    sense = net.between(net.at(first.mosfet, "S"), "GND", "resistor")[0]
    watt = (first.most_ma(net) / 1000) ** 2 * first.sense_ohm * emitters.LIT_PART
    left_v = rules_emitters.left_v(net) - first.wants_v(net)
    stored = sum(stored_j(part.nf, set_v) for part in emitters.store(net))
    joined = " + ".join(value(part) for part in emitters.store(net) if part.polar)
    step_up = parts[emitters.step_up(net)]
    turned = sum(stored_j(part.nf, step_up.most_v) for part in emitters.store(net))
    return [
        ("strings, and diodes in each", f"{len(strings)} and {len(first.emitters)}", "-"),
        ("a string's current while lit",
         f"{first.least_ma(net):.0f} to {first.most_ma(net):.0f} mA",
         f"{rules_emitters.LEAST_PART * diode.max_ma:.0f} mA at least, {diode.max_ma:.0f} mA at "
         f"most"),
        ("all strings while lit", f"{emitters.most_ma(net) / 1000:g} A", "-"),
        ("a string wants, typically and at most",
         f"{typical_v:.2f} V and {first.wants_v(net):.2f} V",
         f"{set_v:.1f} V; {left_v:.2f} V are left at a long burst's end"),
        ("its capacitor", f"{joined}, sags by {emitters.sags_v(net):.2f} V in a long burst",
         f"{min(p.volt for p in emitters.store(net) if p.polar):g} V; the step-up, turned up, "
         f"gives {step_up.most_v:g} V"),
        ("energy in it", f"{stored:.2f} J; turned up {turned:.2f} J", "-"),
        ("a string's resistor, if the carrier never ended", f"{watt:.2f} W", f"{sense.watt:g} W"),
        ("a MOSFET, if the carrier never ended", f"{first.mosfet_w(net):.1f} W",
         f"{parts[first.mosfet].watt:g} W in free air"),
    ]  # fmt: skip


def _driver(net: Netlist) -> list[Row]:
    way, part = emitters.coupling(net), net.box.part[net.refs("driver")[0]]
    assert way is not None
    pin_v, draws = net.box.supply.high_v, rules_pins.draws_ma(net)
    return [
        (f"driver's input at the end of a pulse of {emitters.PULSE_US:.1f} us",
         f"{way.high_v(pin_v):.2f} V", f"{part.high_v:g} V at least"),
        ("lit for, if the pin stayed high", f"{way.dark_us(pin_v, part.low_v) / 1000:.1f} ms",
         f"{rules_emitters.DARK_MOST_US / 1000:g} ms; the longest burst has "
         f"{rules_emitters.longest_burst_us() / 1000:.1f} ms"),
        ("the emitters' pin", f"{draws['emitter']:.1f} mA", f"{chip.PIN_MA:.0f} mA"),
    ]  # fmt: skip


def _cell(net: Netlist) -> list[Row]:
    box = net.box
    battery = box.battery_fitted()
    assert battery is not None
    at_v, end_v = battery.mean_v, box.end_v()
    step_up, charger = box.part[emitters.step_up(net)], box.part[net.refs("charger")[0]]
    lit_ms, telegram_ms = emitters.telegram_lit_ms(), emitters.telegram_ms()
    surge_ma = rules_supply.always_ma(net) + step_up.limit_ma
    return [
        (f"lit in a telegram of {telegram_ms:.0f} ms", f"{lit_ms:.1f} ms", "-"),
        ("of the cell in a telegram, mean, nearly empty",
         f"{emitters.telegram_ma(net, end_v):.0f} mA",
         f"{step_up.limit_ma:.0f} mA, the step-up's limit"),
        ("of the cell as its capacitor fills, all in all", f"{surge_ma:.0f} mA",
         f"{charger.max_ma:.0f} mA, the charger board's protection"),
        ("fuse, the busiest seconds", f"{rules_supply.most_ma(net):.0f} mA",
         f"{box.part['F1'].hold_ma / 1.2:.0f} mA"),
        ("telegrams an hour", f"{emitters.telegrams_an_hour(net):.0f}",
         f"{3_600_000 / telegram_ms:.0f}, one after the other"),
        ("emitters in class, in the mean, and idle",
         f"{emitters.mean_ma(net, at_v):.1f} mA and {emitters.idle_ma(net, at_v):.1f} mA", "-"),
    ]  # fmt: skip


def _eyes(net: Netlist) -> list[Row]:
    return [
        (f"at an eye {emitters.EYE_M} m away, brightest direction, lit without a pause",
         f"{emitters.eye_w_m2(net):.0f} W/m2",
         f"{emitters.CORNEA_W_M2:.0f} W/m2 (IEC 62471, exempt group, from memory)"),
        ("the brightest emitter, lit without a pause",
         f"{emitters.eye_w_m2_sr(net) / 1000:.0f} kW/m2/sr",
         f"{emitters.eye_most_w_m2_sr() / 1000:.0f} kW/m2/sr (the same)"),
    ]  # fmt: skip
