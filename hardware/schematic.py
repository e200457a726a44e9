"""The schematics of the reference box and of the remote, block by block, drawn with schemdraw."""

from __future__ import annotations

from hardware import chip, schematic_infrared
from hardware.model import LEADING, Box
from hardware.sheet import Sheet, elements


def svg(box: Box) -> str:
    """Return the schematic as SVG; raises HandbellError if it is not what box.toml says."""
    return draw(box).svg()


def draw(box: Box) -> Sheet:
    """Return the sheet with the reference box on it, or the remote."""
    sheet = Sheet(box)
    _board(sheet)
    _supply(sheet)
    _gauge(sheet)
    _display(sheet)
    if box.product == "remote":
        schematic_infrared.emitters(sheet, -4.0, -11.5, (3.0, -32.5))
        for n in range(1, box.buttons + 1):
            _button(sheet, n, -5.5 + 9.5 * (n - 1), -24.0, LEADING[n - 1])
        return sheet
    _lamps(sheet)
    _sounder(sheet)
    _line(sheet)
    schematic_infrared.receivers(sheet, 34.5, 7.5)
    schematic_infrared.emitters(sheet, -4.0, -21.5, (27.0, -21.5))
    for n in range(1, box.buttons + 1):
        _button(sheet, n, 23.5, 7.5 - 6.0 * (n - 1), "Button (each of up to four)")
    return sheet


def _heading(sheet: Sheet, x: float, y: float, words: str) -> None:
    sheet.text((x, y), words, size=13, halign="left")


def _board(sheet: Sheet) -> None:
    left = [("VBUS", "VBUS (40)"), ("VSYS", "VSYS (39)"), ("3V3", "3V3 (36)"), ("gauge", "")]
    left += [("clock_square", ""), ("sda", ""), ("scl", "")]
    some = ("lamps", "sounder", "line", "receiver", "emitter")
    right = [(name, "") for name in some if name not in sheet.box.free]
    right += [(f"button{n}", "") for n in range(1, sheet.box.buttons + 1)]
    right.append(("GND", "GND (38)"))
    pins = sheet.box.pins.by_name()

    def labelled(side: list[tuple[str, str]]) -> list[tuple[str, str]]:
        return [(end, label or f"GP{pins[end]} ({chip.EDGE[pins[end]]})") for end, label in side]

    _heading(sheet, -0.5, 1.6, "Board (pins of its edge in brackets)")
    ends = sheet.module("U1", (0, 0), 5.6, labelled(left), labelled(right))
    for end, at in ends.items():
        if end == "GND":
            sheet.wire(at, (at[0] + 0.3, at[1]))
            sheet.ground((at[0] + 0.3, at[1]))
        else:
            net = next(name for name, of in sheet.box.net.items() if f"U1.{end}" in of)
            sheet.name(net, at, "left" if end in dict(left) else "right")


def _supply(sheet: Sheet) -> None:
    elm = elements()
    y = 7.5
    _heading(sheet, -6, y + 1.9, "Battery, charger and switch")
    ends = sheet.module(
        "U4", (-2.2, y + 0.8), 3.6, [("B+", "B+"), ("B-", "B-")],
        [("OUT+", "OUT+"), ("IN+", "IN+"), ("IN-", "IN-"), ("OUT-", "OUT-")], 0.9,
    )  # fmt: skip
    sheet.text((-0.4, y - 4.2), f"on it: R12, {sheet.box.part['R12'].ohm / 1000:g} k", 10)
    plus, minus = ends["B+"], ends["B-"]
    sheet.wire(plus, (-5, plus[1]))
    sheet.wire(minus, (-3.2, minus[1]), (-3.2, y - 2.4), (-5, y - 2.4))
    sheet.two("BT1", elm.Battery(), (-5, plus[1]), (-5, y - 2.4), "+ -", loc="bottom", ofst=0.3)
    sheet.name("VBUS", ends["IN+"])
    foot = (2.4, y - 3.2)
    sheet.wire(ends["IN-"], (2.4, ends["IN-"][1]), foot)
    sheet.wire(ends["OUT-"], (2.4, ends["OUT-"][1]))
    sheet.dot((2.4, ends["OUT-"][1]))
    sheet.ground(foot)
    out = ends["OUT+"]
    sheet.two("F1", elm.FuseIEC(), out, (out[0] + 2.8, y), "1 2")
    sheet.two("S1", elm.Switch(), (out[0] + 2.8, y), (out[0] + 5.4, y), "1 2")
    at = out[0] + 5.4
    sheet.wire((at, y), (at + 2.4, y))
    sheet.name("BATTERY", (at + 0.6, y - 1.2))
    sheet.wire((at + 0.2, y), (at + 0.2, y - 1.2), (at + 0.6, y - 1.2))
    sheet.dot((at + 0.2, y))
    sheet.two("D1", elm.Schottky(), (at + 2.4, y), (at + 4.8, y), "A K")
    sheet.name("VSYS", (at + 4.8, y))


def _gauge(sheet: Sheet) -> None:
    elm = elements()
    x, y = 17.0, 7.5
    _heading(sheet, x - 1, y + 1.9, "Battery gauge")
    sheet.name("BATTERY", (x, y), "left")
    sheet.wire((x, y), (x + 0.6, y))
    sheet.two("R10", elm.ResistorIEC(), (x + 0.6, y), (x + 0.6, y - 2.2), "1 2", loc="top")
    sheet.two("R11", elm.ResistorIEC(), (x + 0.6, y - 2.2), (x + 0.6, y - 4.4), "1 2", loc="top")
    sheet.ground((x + 0.6, y - 4.4))
    sheet.wire((x + 0.6, y - 2.2), (x + 3.4, y - 2.2))
    sheet.dot((x + 0.6, y - 2.2))
    sheet.dot((x + 2.4, y - 2.2))
    sheet.two("C7", elm.Capacitor(), (x + 2.4, y - 2.2), (x + 2.4, y - 4.4), "1 2", loc="top")
    sheet.ground((x + 2.4, y - 4.4))
    sheet.name("GAUGE", (x + 3.4, y - 2.2))


def _display(sheet: Sheet) -> None:
    elm = elements()
    x, top = 11.5, 0.2
    sda, scl = -3.2, -4.2
    _heading(sheet, x - 1, 1.6, "Display and clock part, on one bus")
    sheet.name("3V3", (x - 0.3, top), "left")
    for ref, at, row in (("R1", x + 0.8, sda), ("R2", x + 2.8, scl)):
        sheet.two(ref, elm.ResistorIEC(), (at, top), (at, top - 2.2), "1 2", loc="top")
        sheet.wire((at, top - 2.2), (at, row))
        sheet.dot((at, row))
    for ref, at, ends in (("C4", x + 5.0, "1 2"), ("C3", x + 7.0, "+ -")):
        element = elm.Capacitor2(polar=True) if ref == "C3" else elm.Capacitor()
        sheet.two(ref, element, (at, top), (at, top - 2.0), ends, loc="top")
        sheet.ground((at, top - 2.0))
    for at in (x + 0.8, x + 2.8, x + 5.0, x + 7.0):
        sheet.dot((at, top))
    pins = [("VCC", "VCC"), ("SDA", "SDA"), ("SCL", "SCL"), ("GND", "GND")]
    display = sheet.module("U2", (x + 9.2, -1.4), 2.6, pins)
    sheet.wire((x - 0.3, top), (x + 8.7, top), display["VCC"])
    for net, row in (("SDA", sda), ("SCL", scl)):
        sheet.name(net, (x - 0.3, row), "left")
        sheet.wire((x - 0.3, row), display[net])
    sheet.ground(display["GND"])
    clock = sheet.module("U3", (x + 16.8, -1.4), 2.6, [*pins[:3], ("SQW", "SQW"), ("GND", "GND")])
    for end, net in (("VCC", "3V3"), ("SDA", "SDA"), ("SCL", "SCL"), ("SQW", "CLOCK_SQUARE")):
        sheet.name(net, clock[end], "left")
    sheet.ground(clock["GND"])


def _lamps(sheet: Sheet) -> None:
    elm = elements()
    x, y = -4.0, -11.5
    _heading(sheet, x - 2, y + 1.6, "Lamps")
    sheet.name("BATTERY", (x - 0.2, y), "left")
    sheet.wire((x - 0.2, y), (x + 4.5, y))
    for ref, at, ends in (("C1", x + 0.6, "+ -"), ("C2", x + 2.6, "1 2")):
        element = elm.Capacitor2(polar=True) if ref == "C1" else elm.Capacitor()
        sheet.two(ref, element, (at, y), (at, y - 2.0), ends, loc="top")
        sheet.ground((at, y - 2.0))
        sheet.dot((at, y))
    pins = sheet.module(
        "L1", (x + 5.0, y + 0.8), 2.6,
        [("VDD", "VDD"), ("DIN", "DIN"), ("GND", "GND")], step=1.7,
    )  # fmt: skip
    sheet.ground(pins["GND"])
    sheet.wire(pins["DIN"], (x + 3.9, pins["DIN"][1]), (x + 3.9, y - 4.0))
    sheet.two("R3", elm.ResistorIEC(), (x + 1.4, y - 4.0), (x + 3.9, y - 4.0), "1 2", loc="bottom")
    sheet.name("LAMP_PIN", (x + 1.4, y - 4.0), "left")


def _sounder(sheet: Sheet) -> None:
    elm = elements()
    x, y = 5.5, -11.5
    _heading(sheet, x, y + 1.6, "Sounder")
    sheet.name("SOUND_PIN", (x + 2.3, y - 4.6), "left")
    sheet.two("R4", elm.ResistorIEC(), (x + 2.3, y - 4.6), (x + 4.6, y - 4.6), "1 2", loc="bottom")
    pins = sheet.placed(
        "Q1",
        elm.BjtNpn(circle=True).right().anchor("base").at((x + 4.6, y - 4.6)),
        {"base": "B", "collector": "C", "emitter": "E"},
    )
    column = pins["C"][0]
    sheet.text((column + 0.8, y - 4.75), f"Q1 {sheet.box.part['Q1'].mark}", 10, "left")
    sheet.ground(pins["E"])
    low, high = y - 3.3, y - 2.3
    sheet.wire(pins["C"], (column, low), (column + 2.6, low))
    sheet.dot((column, low))
    sheet.wire((column, high), (column + 2.6, high))
    sheet.dot((column, high))
    sheet.two("D2", elm.Diode(), (column, low), (column, high), "A K", loc="top", ofst=0.2)
    speaker = sheet.placed(
        "LS1", elm.Speaker().theta(0).at((column + 2.6, high)), {"in1": "1", "in2": "2"}
    )
    sheet.wire(speaker["2"], (column + 2.6, low))
    sheet.text((column + 2.9, high + 0.8), f"LS1 {sheet.box.part['LS1'].mark}", 10)
    sheet.two("R5", elm.ResistorIEC(), (column, y), (column, high), "1 2", loc="top")
    sheet.name("BATTERY", (column - 0.5, y), "left")
    sheet.wire((column - 0.5, y), (column, y))


def _line(sheet: Sheet) -> None:
    elm = elements()
    x, y = 18.5, -13.0
    _heading(sheet, x - 2.4, y + 3.1, "Line output")
    sheet.name("LINE_PIN", (x, y), "left")
    sheet.two("R6", elm.ResistorIEC(), (x, y), (x + 2.4, y), "1 2")
    sheet.wire((x + 2.4, y), (x + 4.6, y))
    for ref, at, element in (
        ("R7", x + 2.8, elm.ResistorIEC()),
        ("C6", x + 4.4, elm.Capacitor()),
        ("R9", x + 7.2, elm.ResistorIEC()),
    ):
        sheet.two(ref, element, (at, y), (at, y - 2.2), "1 2", loc="top")
        sheet.dot((at, y))
        sheet.ground((at, y - 2.2))
    sheet.two("C5", elm.Capacitor(), (x + 4.6, y), (x + 6.8, y), "1 2")
    sheet.wire((x + 6.8, y), (x + 7.4, y))
    sheet.two("R8", elm.ResistorIEC(), (x + 7.4, y), (x + 9.8, y), "1 2")
    pins = sheet.module("J1", (x + 10.3, y + 0.8), 1.8, [("tip", "tip"), ("sleeve", "sleeve")])
    sheet.ground(pins["sleeve"])


def _button(sheet: Sheet, n: int, x: float, y: float, heading: str) -> None:
    elm = elements()
    _heading(sheet, x, y + 1.9, heading)
    sheet.name("3V3", (x + 1.6, y), "left")
    sheet.wire((x + 1.6, y), (x + 2.2, y))
    sheet.two(f"RP{n}", elm.ResistorIEC(), (x + 2.2, y), (x + 2.2, y - 2.2), "1 2", loc="top")
    row = y - 2.2
    sheet.two(f"SB{n}", elm.Button(), (x + 2.2, row), (x + 2.2, row - 2.2), "1 2", loc="top")
    sheet.ground((x + 2.2, row - 2.2))
    sheet.dot((x + 2.2, row))
    sheet.two(f"RS{n}", elm.ResistorIEC(), (x + 2.2, row), (x + 5.0, row), "1 2")
    sheet.two(f"CB{n}", elm.Capacitor(), (x + 5.0, row), (x + 5.0, row - 2.2), "1 2", loc="top")
    sheet.ground((x + 5.0, row - 2.2))
    sheet.dot((x + 5.0, row))
    sheet.wire((x + 5.0, row), (x + 5.6, row))
    sheet.name(f"BUTTON_PIN{n}", (x + 5.6, row))
