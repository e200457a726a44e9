"""Receivers and emitters as they are wired: a wrong edit is named, figures are those by hand."""

import re

import pytest
from hardware_changes import bridged, faults, moved, put, swapped, without

from hardware import build, emitters, rules_emitters, rules_infrared, rules_pins
from hardware.load import box_of
from hardware.netlist import Netlist

FAULTS = {
    "a receiver elsewhere": (
        moved("RX%.OUT", "RECEIVER_SUPPLY%"),
        "RX1's OUT is not on the receiver's pin",
    ),
    "a receiver's legs swapped": (swapped("RX%.GND", "RX%.VS"), "RX2's GND is not on GND"),
    "a receiver on the battery": (
        moved("RF%.1", "BATTERY"),
        "RX3 is not fed from the board's 3.3 V by",
    ),
    "a receiver's filter too weak": (
        put("part/RF%", "ohm", 10),
        "RX1 has 10 Ohm before its supply",
    ),
    "a receiver starved": (
        put("part/RX%", "draw_ma", 9),
        r"RX1 would get 2.40 V; it works from 2.5 V",
    ),
    "a receiver's small capacitor": (
        put("part/CF%", "nf", 100),
        "no capacitor of more than 100 nF",
    ),
    "one filter for all": (
        lambda d: d["net"].update(RECEIVER_SUPPLY=d["net"].pop("RECEIVER_SUPPLY%")),
        "RX1 shares its filter with RX2",
    ),
    "strong pull-ups joined": (
        put("part/RX%", "pull_up_ohm", 10_000),
        r"pull 1\.06 mA low, of its own pull-up and the others'",
    ),
    "no receiver": (lambda d: d.update(receivers=0), "The receiver's pin leads to no receiver"),
    "a receiver's pin": (put("pins", "receiver", 20), "pico.py has receiver on GP18, .* GP20"),
    "the emitters' pin": (put("pins", "emitter", 20), "pico.py has emitter on GP19, .* GP20"),
    "a strong string": (
        put("part/RE@", "ohm", 0.68),
        "IA1 gets up to 1103 mA and stands 1000 mA: raise",
    ),
    "a weak string": (
        put("part/RE@", "ohm", 1),
        "IC1 may get 600 mA only; how far it reaches is reckoned with 800 mA",
    ),
    "a limit's resistor too hot": (
        put("part/RE@", "watt", 0.125),
        "QM1's resistor stands 0.125 W and would get 0.25 W from a carrier that never ends",
    ),
    "no limit": (moved("QL@.C", "GND"), "QM1 has no resistor to GND with a transistor across it"),
    "a limit the wrong way": (swapped("QL@.B", "QL@.E"), "nothing would limit its string's"),
    "a diode the wrong way round": (swapped("IB@.A", "IB@.K"), "IB1 is in no string"),
    "a diode bridged": (bridged("IB@", "A", "K"), "There are 2 emitters, and holes for 3"),
    "a visible emitter": (put("part/IA@", "nm", 850), "IA1 gives 850 nm"),
    "an emitter too bright": (
        put("part/IA@", "mw_sr", [760, 1_200]),
        r"remote: An eye 0.2 m away may get 105 W/m2; IEC 62471's exempt group ends at 100",
    ),
    "an emitter like a laser": (
        put("part/IA@", "mw_sr", [760, 3_000]),
        r"An emitter may give 663146 W/m2/sr",
    ),
    "the pin straight on the driver": (
        bridged("C11", "1", "2"),
        "No capacitor stands between the emitters' pin and the driver: a board that stops",
    ),
    "a capacitor that lets long light through": (
        put("part/C11", "nf", 470),
        r"would light the emitters for 14505 us; more than 2000 us is no pulse",
    ),
    "nothing that empties it": (without("R16"), "Nothing empties the capacitor before the driver"),
    "a weak bleed": (put("part/R16", "ohm", 220_000), "would light the emitters for 1[45]... us"),
    "no diode that holds the input up": (without("D3"), "No diode from GND holds the driver's"),
    "that diode the wrong way": (swapped("D3.A", "D3.K"), "No diode from GND holds the driver's"),
    "a diode that loses much": (
        put("part/D3", "drop_v", [0.6, 1.0]),
        r"The driver gets 2\.01 V at a pulse's end and takes 2\.4 V for high",
    ),
    "the pin overloaded": (put("part/R15", "ohm", 470), "the pin would give over 4 mA"),
    "a driver's input that hangs": (moved("U8.INB", "EMITTER_SERIES"), "U8's INB is not on GND"),
    "a driver's legs swapped": (swapped("U8.VDD", "U8.GND"), "U8's GND is not on GND"),
    "a driver of 12 V": (
        put("part/U8", "supply_v", [4.5, 12]),
        r"remote: U8 would get 14\.3 to 14\.5 V and works from 4\.5 to 12 V",
    ),
    "a gate straight on the driver": (
        bridged("RG@", "2", "1"),
        "QM1's gate is not on the driver by a resistor",
    ),
    "a gate's resistor too small": (
        put("part/RG@", "ohm", 47),
        "remote: QL1 has to sink 309 mA to close",
    ),
    "a gate's resistor too hot": (put("part/RG@", "watt", 0.125), "gate resistor stands 0.125 W"),
    "a MOSFET of 20 V": (put("part/QM@", "volt", 20), "remote: QM1 stands 20 V at its gate and 20"),
    "a small MOSFET": (put("part/QM@", "max_ma", 500), "QM1 gets 1000 mA and stands 500 mA"),
    "a MOSFET too hot": (put("part/QM@", "watt", 0.5), "would get 1.15 W from a carrier that"),
    "a step-up set too high": (
        put("part/U7", "out_v", [14.3, 14.5]),
        "QM1 stands 1.6 W in free air and would get 2.28 W .* lower the step-up",
    ),
    "a step-up set too low": (
        put("variant/remote/part/U7", "out_v", [13.9, 14.1]),
        r"remote: IA1's string wants 13\.65 V and may get 13\.35 V at a long burst's end",
    ),
    "a small store": (put("part/C9", "nf", 470_000), "at a long burst's end: its current"),
    "a store that bursts": (put("part/C9", "volt", 25), "U7, turned up, gives 28 V, and it would"),
    "a weak step-up": (
        put("part/U7", "limit_ma", 1_000),
        "remote: A telegram takes 1344 mA of U7's input, which gives 1000 mA",
    ),
    "a step-up without a limit": (
        put("part/U7", "limit_ma", 4_000),
        r"As the emitters' capacitor fills \d+ mA may be taken; U4's protection opens at 3000 mA",
    ),
    "no resistor behind the step-up": (bridged("R14", "1", "2"), "No step-up feeds the emitters"),
    "a resistor behind it too hot": (
        put("part/R14", "watt", 0.1),
        "The resistor behind U7 stands 0.1 W",
    ),
    "no large capacitor at a remote's step-up": (
        lambda d: d["variant"]["remote"]["drop"].append("C1"),
        "remote: At the step-up no capacitor of 10 uF",
    ),
    "no small one at the emitters": (without("C10"), "At the emitters no small capacitor"),
    "a fuse too small": (put("part/F1", "hold_ma", 750), "remote: F1 holds 750 mA"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_wrong_edit_is_named(data, name):
    change, sentence = FAULTS[name]
    found = faults(data, change)
    matching = [fault for fault in found if re.search(sentence, fault)]
    assert matching, found
    assert all(fault.endswith(".") and len(fault.split()) > 5 for fault in matching)


@pytest.fixture(scope="module")
def nets(data):
    return {"box": Netlist(box_of(data)), "remote": Netlist(box_of(data, "remote"))}


def test_strings_are_read_from_the_nets(nets):
    (box,) = emitters.strings(nets["box"])
    assert box.emitters == ("IA1", "IB1", "IC1") and box.limiter == "QL1"
    remote = emitters.strings(nets["remote"])
    assert [len(string.emitters) for string in remote] == [4, 4, 4, 4]
    assert len({ref for string in remote for ref in string.emitters}) == 16


def test_a_strings_current_by_hand(nets):
    """0.60 to 0.75 V over 0.75 Ohm; four of 3.2 V, 0.75 V and 0.1 Ohm at 1 A."""
    string = emitters.strings(nets["remote"])[3]
    assert string.least_ma(nets["remote"]) == pytest.approx(800)
    assert string.most_ma(nets["remote"]) == pytest.approx(1_000)
    assert string.wants_v(nets["remote"]) == pytest.approx(12.8 + 0.75 + 0.1)
    # A third of the time: 14.5 V less four of 2.3 V less 0.75 V, at 1 A.
    assert string.mosfet_w(nets["remote"]) == pytest.approx((14.5 - 9.2 - 0.75) / 3)


def test_its_lantern_is_the_models(nets):
    """How far it reaches was reckoned with these axes, this current and this diode."""
    pytest.importorskip("numpy", reason="numpy draws the halls")
    from hardware.infrared import safety, study

    for name, lantern in (("remote", study.CHOSEN), ("box", study.REPEATER)):
        net = nets[name]
        axes = [(360 * n / many, up) for many, up in emitters.RINGS[name] for n in range(many)]
        assert axes == list(lantern.axes)
        assert len(net.refs("emitter")) == len(axes)
        part = net.box.part["IA1"]
        assert (part.mw_sr[0], part.max_ma) == (lantern.emitter.mw_sr, lantern.ma)
        assert (part.half_deg, part.typical_v) == (lantern.emitter.half_deg, lantern.emitter.volt)
        eye = safety.eye(lantern)
        assert emitters.eye_w_m2(net) == pytest.approx(eye.peak_w_m2, rel=0.005)
        assert emitters.eye_w_m2_sr(net) == pytest.approx(eye.retina_w_m2_sr, rel=0.001)
        assert emitters.eye_most_w_m2_sr() == pytest.approx(eye.retina_most_w_m2_sr)


def test_an_eye_gets_no_more_than_the_exempt_group_allows(nets):
    # IEC 62471:2006 from memory: 100 W/m2 at the cornea; 6000 / 0.012 W/m2/sr for 2.4 mm at 0.2 m.
    assert emitters.eye_w_m2(nets["box"]) < 100 / 3 < emitters.eye_w_m2(nets["remote"]) < 100
    assert emitters.eye_w_m2_sr(nets["remote"]) < 6_000 / 0.012 / 2


def test_pulses_pass_and_light_that_lasts_does_not_by_integration(nets):
    """Pin, 1 k, 47 nF, 22 k and a diode, stepped through a long burst, then stuck high."""
    way = emitters.coupling(nets["box"])
    assert way == emitters.Coupling(1_000, 47, 22_000, 0.35)
    step_us, farad, held_v, lows, highs = 0.02, 47e-9, 0.0, [], []

    def pass_through(pin_v, lasts_us):
        nonlocal held_v
        for _ in range(round(lasts_us / step_us)):
            input_v = (pin_v - held_v) * 22_000 / 23_000
            current = (pin_v - held_v) / 23_000
            if input_v < -0.35:  # the diode conducts
                input_v, current = -0.35, (pin_v - held_v + 0.35) / 1_000
            held_v += current * step_us * 1e-6 / farad
        return input_v

    for _ in range(34):
        highs.append(pass_through(3.2, emitters.PULSE_US))
        lows.append(pass_through(0.0, emitters.PULSE_US * 2))
    assert min(highs) > way.high_v(3.2) > 2.4  # what is reckoned is the worse
    assert max(lows) < 0.8
    held_v, stuck_us = 0.0, 0.0
    while pass_through(3.2, 1.0) > 0.8:
        stuck_us += 1.0
    assert stuck_us == pytest.approx(way.dark_us(3.2, 0.8), rel=0.01)
    assert rules_emitters.longest_burst_us() < stuck_us < rules_emitters.DARK_MOST_US


def test_a_store_gives_a_long_burst(nets):
    # 34 cycles of 38 kHz, a third lit: 0.298 ms; at 1 A 0.298 mC of 2200 uF; four times of 4400.
    lit_ms = 34 / 38 / 3
    assert emitters.sags_v(nets["box"]) == pytest.approx(lit_ms / 2.2, rel=0.001)
    assert emitters.sags_v(nets["remote"]) == pytest.approx(lit_ms * 4 / 4.4, rel=0.001)


def test_what_a_telegram_takes_of_the_cell_by_hand(nets):
    # (34 + 65 x 16) / 3 / 38 = 9.42 ms lit; 4 A, 14.5 V, 0.85, an empty cell of 3.5 V.
    charge_mas = 4 * (34 + 65 * 16) / 3 / 38
    mean_ma = charge_mas / emitters.telegram_ms() * 1000
    assert emitters.telegram_ma(nets["remote"], 3.5) == pytest.approx(mean_ma * 14.5 / 0.85 / 3.5)
    # Told nine times, three slots of 230 ms apart: the last begins after 5.52 s.
    many = 9 * charge_mas / (5.52 + emitters.telegram_ms() / 1000)
    assert emitters.busy_ma(nets["remote"], 3.5) == pytest.approx(many * 14.5 / 0.85 / 3.5)


def test_joined_receivers_pull_low_by_hand(nets):
    # Three of 30 k and the pin's own 50 k, at 3.3 V.
    assert rules_infrared.joined_ma(nets["box"]) == pytest.approx(3.3 / 10 + 3.3 / 50)


def test_a_pin_fills_a_capacitor_by_its_resistor_only(nets):
    for net in nets.values():
        assert rules_pins.draws_ma(net)["emitter"] == pytest.approx(3.3)


def test_a_telegram_is_lit_as_the_firmware_writes_and_shines_it():
    """Every telegram has as many bursts; a mean one is half of the shortest and the longest."""
    from handbell_core.bursts_out import lasts_us, write

    none, full = bytes(16), b"\xff" * 16
    lit = sum(write(none)[::2])
    assert lit == sum(write(full)[::2])
    assert emitters.telegram_lit_ms() == pytest.approx(lit / 3 / 38)
    tail_ms = (16 + 48) / 38  # its last burst and the dark after it: formats.md
    mean_ms = (lasts_us(none) + lasts_us(full)) / 2000 + tail_ms
    assert emitters.telegram_ms() == pytest.approx(mean_ms, abs=0.01)
    program = (build.ROOT / "firmware/box/emitter.py").read_text(encoding="utf-8")
    lit_delay, dark_delay = re.search(
        r"set\(pins, 1\)\[(\d)\]\n *set\(pins, 0\)\[(\d)\]\n *jmp\(x_dec", program
    ).groups()
    on = 1 + int(lit_delay)  # a PIO instruction takes a cycle and its delay: RP2040 datasheet
    assert on / (on + 1 + int(dark_delay) + 1) == emitters.LIT_PART


def test_what_may_be_left_out_leaves_a_box_that_hears(data):
    """Every part marked as the repeater's goes, and the box has no fault."""
    gone = {ref for ref, part in data["part"].items() if part.get("optional") == "repeater"}

    def change(changed):
        without(*gone)(changed)
        changed.update(strings=0, free=["emitter"])
        changed["net"]["EMITTER_PIN"] = []
        del changed["variant"]["remote"], changed["variant"]["aa"], changed["variant"]["bench"]

    assert faults(data, change) == []


def test_a_remote_leaves_nothing_of_it_out(data):
    assert not [
        ref for ref, part in box_of(data, "remote").part.items() if part.optional == "repeater"
    ]
