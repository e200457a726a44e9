"""The rules hold for every build, and each fault fails with a sentence that says why."""

import copy
import re

import pytest
from hardware_changes import faults, moved, put, swapped, without

from hardware import rules, rules_pins, rules_signals, rules_sound, rules_supply
from hardware.formulas import e24_below, pull_up_least_ohm
from hardware.load import box_of, variants
from hardware.netlist import Netlist


def test_every_build_holds(data):
    for name in variants(data):
        assert rules.faults(box_of(data, name)) == []
    for buttons in (1, 2, 3, 4):
        assert rules.faults(box_of(data, buttons=buttons)) == []


FAULTS = {
    "a cell the wrong way round": (swapped("BT1.+", "BT1.-"), r"BT1's \+ is not on U4's B\+"),
    "a charger's wires swapped": (swapped("U4.OUT+", "U4.OUT-"), "U4's OUT- is not on GND"),
    "a capacitor the wrong way round": (swapped("C1.+", "C1.-"), r"C1's \+ is on GND"),
    "a wrong pin": (put("pins", "lamps", 17), r"pico.py has lamps on GP16, box.toml .* GP17"),
    "sda on an scl pin": (put("pins", "sda", 9), "sda is on GP9, which can only be scl"),
    "another bus": (put("pins", "sda", 6), "sda is on I2C1 and scl on I2C0"),
    "a pin used twice": (put("pins", "lamps", 15), "GP15 is used for lamps and for sounder"),
    "a pin that is not there": (put("pins", "lamps", 24), "GP24, which is not on the board's edge"),
    "slices apart": (put("pins", "line", 17), "not the two channels of one PWM slice"),
    "no converter": (put("pins", "gauge", 22), "gauge is on GP22, which has no converter"),
    "lamps of 30 mA": (
        put("part/L1", "colour_ma", 30),
        r"stated with 30 mA a colour; a WS2812B gives 20 mA",
    ),
    "lamps over their supply": (
        put("part/L1", "colour_ma", 30),
        r"may draw 186 mA, more than the 150 mA",
    ),
    "a pull-up of 47 k": (
        put("part/R1", "ohm", 47_000),
        r"sda has a pull-up of 47000 Ohm, too weak: 100 pF rise within 300 ns by 3541 Ohm at most",
    ),
    "a pull-up of 1 k": (put("part/R2", "ohm", 1_000), r"scl has \d+ Ohm .*too strong"),
    "no pull-up": (without("R2"), "scl has no pull-up"),
    "a long cable": (put("bus", "wires_pf", 300), "The bus has 340 pF, more than the 100 pF"),
    "lamps on 5 V": (moved("L1.VDD", "VBUS"), r"5.25 V and then want 3.67 V .* gives 3.20 V"),
    "lamps on 3.3 V": (moved("L1.VDD", "3V3"), "only; below 3.5 V blue and green fail"),
    "lamps' data without resistor": (put("part/R3", "ohm", 33), "resistor of 220 Ohm or more"),
    "a cap too high": (put("firmware", "lamp_cap", 255), r"may draw 486 mA"),
    "more lamps": (put("part/L1", "count", 12), "12 lamps, the firmware is to drive 8"),
    "a speaker on a pin": (moved("LS1.2", "SOUND_PIN"), "LS1 .* is not driven by a transistor"),
    "no diode across it": (without("D2"), "LS1 has no diode across it"),
    "a base too weak": (put("part/R4", "ohm", 2_200), "it can't carry the 140 mA of LS1"),
    "a base too strong": (put("part/R4", "ohm", 330), r"sounder would take 7.7 mA from its pin"),
    "a speaker too loud": (put("part/R5", "ohm", 2.2), r"412 mA of LS1"),
    "a resistor too hot": (put("part/R5", "watt", 0.125), r"22 Ohm get 0.22 W and stand 0.125 W"),
    "no divider": (without("R7"), "The line output is not divided"),
    "a loud divider": (put("part/R7", "ohm", 10_000), "The line output gives 0.55 V"),
    "no coupling": (without("C5"), "no coupling capacitor"),
    "no series resistor": (moved("R8.2", "LINE_COUPLED"), "no series resistor at its socket"),
    "a capacitor of 16 V": (put("part/C5", "volt", 16), "a microphone input may feed 48 V"),
    "48 V into the pin": (put("part/R6", "ohm", 1_000), r"would push \d+\.\d mA into its pin"),
    "a small capacitor": (put("part/C5", "nf", 10), r"cuts below \d+ Hz: too small"),
    "a large filter": (put("part/C6", "nf", 100), r"cuts above 883 Hz: our tones too"),
    "a bare button": (moved("U1.button#", "BUTTON#"), "Button 1 goes straight to its pin"),
    "a weak series resistor": (put("part/RS#", "ohm", 100), r"would push 19.5 mA into the pin"),
    "a slow filter": (put("part/CB#", "nf", 1_000), "half of a tap's budget is 1000 us"),
    "dirty contacts": (put("part/RP#", "ohm", 47_000), "do not keep its contacts clean"),
    "back-feed": (moved("S1.2", "VSYS"), r"reach the battery through .*past any charger"),
    "a charger off USB": (moved("U4.IN+", "PROTECTED"), "The charger's input is not on USB"),
    "the gauge behind the diode": (moved("R10.1", "VSYS"), "The gauge is behind D1: on a cable"),
    "a gauge too weak": (put("part/R11", "ohm", 220_000), "readings may be"),
    "a gauge too high": (put("part/R10", "ohm", 1_000), r"pin may see 3.82 V"),
    "no gauge capacitor": (without("C7"), "The gauge has no capacitor"),
    "no large capacitor": (without("C1"), "At the lamps no capacitor of 10 uF"),
    "no small capacitor": (without("C4"), "At the display no small capacitor"),
    "a capacitor of 4 V": (put("part/C1", "volt", 4), "C1 stands 4 V and may get 4.2 V"),
    "a fuse too small": (put("part/F1", "hold_ma", 500), "F1 holds 500 mA"),
    "a diode too small": (put("part/D1", "max_ma", 200), "D1 stands 200 mA"),
    "a display too hungry": (put("supply", "rail_ma", 100), "the board's 3.3 V give 100 mA"),
    "the charger's own resistor": (put("part/R12", "ohm", 1_200), "Charging at 1000 mA"),
    "a small cell": (put("battery/0", "capacity_ah", 0.5), "charge a cell of 0.5 Ah too fast"),
    "no charge current": (without("R12"), "its current is not known"),
    "an odd resistor": (put("part/R6", "ohm", 10_500), "R6 has 10500 Ohm, which is not sold"),
    "an end in the air": (without("R8"), "Net LINE_OUT has one end only, J1.tip"),
    "an end on two nets": (
        lambda d: d["net"]["SCL"].append("U2.SDA"),
        r"U2.SDA is on 2 nets \(SDA, SCL\)",
    ),
    "an end forgotten": (lambda d: d["net"]["SDA"].remove("U3.SDA"), "U3.SDA is on no net"),
    "a stranger": (lambda d: d["net"]["SDA"].append("U9.SDA"), "no part has such an end"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_fails_with_its_reason(data, name):
    change, sentence = FAULTS[name]
    found = faults(data, change)
    matching = [fault for fault in found if re.search(sentence, fault)]
    assert matching, found
    assert all(fault.endswith(".") and len(fault.split()) > 5 for fault in matching)


def test_lithium_without_charger_is_refused(data):
    bare = copy.deepcopy(data)
    del bare["part"]["U4"], bare["part"]["R12"]
    bare["net"] = {
        name: [end for end in ends if not end.startswith("U4.")]
        for name, ends in bare["net"].items()
    }
    assert any("no charger board" in fault for fault in rules.faults(box_of(bare)))


def test_pull_ups_are_the_next_e24_value_and_hold_with_any_modules(box):
    # UM10204 (quoted): at 100 pF and 300 ns 3540.7 Ohm at most, 966.7 at least.
    own = box.part["R1"].ohm
    assert own == box.part["R2"].ohm == e24_below(3540.7) == 3_300
    worst = 1 / (1 / own + 2 / 4_700)  # both modules with the strongest of pull-ups (memory)
    assert worst > pull_up_least_ohm(3.3)


def test_pins_stay_far_under_the_chips_limits(box):
    # RP2040 datasheet (quoted): 4 mA by default, 50 mA in all.
    draws = rules_pins.draws_ma(Netlist(box))
    assert max(draws.values()) < 4 and sum(draws.values()) < 50 / 4
    # 3.3 V less a base of 0.75 V over 820 Ohm, by hand:
    assert draws["sounder"] == pytest.approx(3.11, abs=0.01)


def test_lamps_draw_what_the_board_file_says(box):
    # 8 lamps x 3 colours x 20 mA (quoted) x 64 / 255, and 0.7 mA each for their chips.
    assert rules_signals.lamps_most_ma(Netlist(box)) == pytest.approx(120.5 + 5.6, abs=0.1)


def test_line_output_by_nodal_analysis(box):
    """The whole network at 1 kHz, solved by numpy, into 10 kOhm."""
    numpy = pytest.importorskip("numpy", reason="numpy solves the network")
    ohm = {ref: box.part[ref].ohm for ref in ("R6", "R7", "R8", "R9")}
    farad = {ref: box.part[ref].nf * 1e-9 for ref in ("C5", "C6")}
    s = 2j * numpy.pi * 1000
    divided, coupled, out = 0, 1, 2
    y = numpy.zeros((3, 3), dtype=complex)
    y[divided, divided] = 1 / ohm["R6"] + 1 / ohm["R7"] + s * farad["C6"] + s * farad["C5"]
    y[coupled, coupled] = s * farad["C5"] + 1 / ohm["R9"] + 1 / ohm["R8"]
    y[divided, coupled] = y[coupled, divided] = -s * farad["C5"]
    y[out, out] = 1 / ohm["R8"] + 1 / 10_000
    y[coupled, out] = y[out, coupled] = -1 / ohm["R8"]
    solved = numpy.linalg.solve(y, [1.65 / ohm["R6"], 0, 0])  # half a swing of 3.3 V
    # The rule leaves the series resistor out, which is the louder side.
    assert abs(solved[out]) == pytest.approx(rules_sound.line_level_v(Netlist(box)), rel=0.12)
    assert abs(solved[out]) < rules_sound.line_level_v(Netlist(box))


def test_charging_is_slow_enough_for_any_port(box):
    # A USB 2.0 port gives 500 mA (from memory); the Pico draws 86.5 mA busy (read).
    net = Netlist(box)
    assert rules_supply.charge_ma(net) == pytest.approx(364, abs=1)
    assert rules_supply.charge_ma(net) + 86.5 <= 500


def test_gauge_is_true_on_a_cable(box):
    """The gauge's net is fed by the cell alone: USB does not get there but by the charger."""
    net = Netlist(box)
    assert net.gauge_top() not in net.reached(net.usb_net(), charging=False)
    assert net.gauge_top() in net.reached(net.at("BT1", "+"), charging=False)
