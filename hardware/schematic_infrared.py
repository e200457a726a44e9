"""The schematics' blocks of infra-red light: receivers, and emitters with their driver."""

from __future__ import annotations

from collections.abc import Sequence

from hardware.sheet import Sheet, elements

STRING_WIDE = 9.0  # from one string to the next


def receivers(sheet: Sheet, x: float, y: float) -> None:
    """Draw the receivers, each with its own filter, their outputs joined by name."""
    elm = elements()
    _heading(sheet, x - 1, y + 1.9, "Receivers, a third of a turn apart")
    for n in range(1, sheet.box.receivers + 1):
        row = y - 7.0 * (n - 1)
        sheet.name("3V3", (x, row), "left")
        sheet.two(f"RF{n}", elm.ResistorIEC(), (x, row), (x + 2.4, row), "1 2")
        pins = [("VS", "VS"), ("OUT", "OUT"), ("GND", "GND")]
        ends = sheet.module(f"RX{n}", (x + 4.6, row + 0.8), 2.2, pins, step=1.7)
        sheet.wire((x + 2.4, row), ends["VS"])
        at = (x + 2.6, row)
        can = elm.Capacitor2(polar=True)
        sheet.two(f"CF{n}", can, at, (at[0], row - 2.0), "+ -", loc="top")
        sheet.dot(at)
        sheet.ground((at[0], row - 2.0))
        out = ends["OUT"]
        sheet.wire(out, (x + 3.5, out[1]), (x + 3.5, row - 4.6), (x + 3.1, row - 4.6))
        sheet.name("RECEIVER_OUT", (x + 3.1, row - 4.6), "left")
        sheet.ground(ends["GND"])


def emitters(sheet: Sheet, x: float, y: float, strings_at: tuple[float, float]) -> None:
    """Draw the step-up, the driver behind its capacitor, and the strings."""
    _heading(sheet, x - 2, y + 1.9, "Step-up, and the capacitor that gives the pulses")
    _feed(sheet, x, y)
    _heading(sheet, x - 2, y - 4.4, "Pulses pass a capacitor to the driver, what lasts does not")
    _driver(sheet, x, y - 6.4)
    column, top = strings_at
    count = sheet.box.strings
    _heading(sheet, column - 5.0, top + 1.9, "Emitters, each string with its own limit")
    sheet.name("EMITTER_SUPPLY", (column - 1.0, top), "left")
    sheet.wire((column - 1.0, top), (column + STRING_WIDE * (count - 1), top))
    for n in range(1, count + 1):
        _string(sheet, n, column + STRING_WIDE * (n - 1), top)


def _heading(sheet: Sheet, x: float, y: float, words: str) -> None:
    sheet.text((x, y), words, size=13, halign="left")


def _feed(sheet: Sheet, x: float, y: float) -> None:
    sheet.name("BATTERY", (x, y), "left")
    start = x + 0.6
    if sheet.box.product == "remote":  # a box has these two at its lamps
        _caps(sheet, [("C1", x + 0.6), ("C2", x + 2.6)], y)
        start = x + 5.0
    sheet.wire((x, y), (start, y))
    ends = sheet.module(
        "U7", (start + 0.5, y + 0.8), 3.4, [("IN+", "IN+"), ("IN-", "IN-")],
        [("OUT+", "OUT+"), ("OUT-", "OUT-")],
    )  # fmt: skip
    sheet.ground(ends["IN-"])
    sheet.ground(ends["OUT-"])
    at = ends["OUT+"][0]
    sheet.two("R14", elements().ResistorIEC(), (at, y), (at + 2.4, y), "1 2")
    stored = [ref for ref in ("C9", "C12", "C10") if ref in sheet.box.part]
    places = [(ref, at + 3.0 + 2.2 * n) for n, ref in enumerate(stored)]
    _caps(sheet, places, y)
    end = places[-1][1] + 1.6
    sheet.wire((at + 2.4, y), (end, y))
    sheet.name("EMITTER_SUPPLY", (end, y))


def _caps(sheet: Sheet, places: Sequence[tuple[str, float]], y: float) -> None:
    elm = elements()
    for ref, at in places:
        polar = sheet.box.part[ref].polar
        element = elm.Capacitor2(polar=True) if polar else elm.Capacitor()
        sheet.two(ref, element, (at, y), (at, y - 2.0), "+ -" if polar else "1 2", loc="top")
        sheet.dot((at, y))
        sheet.ground((at, y - 2.0))


def _driver(sheet: Sheet, x: float, y: float) -> None:
    elm = elements()
    sheet.name("EMITTER_PIN", (x, y), "left")
    sheet.two("R15", elm.ResistorIEC(), (x, y), (x + 2.4, y), "1 2")
    sheet.two("C11", elm.Capacitor(), (x + 2.4, y), (x + 4.8, y), "1 2")
    sheet.two("R16", elm.ResistorIEC(), (x + 5.2, y), (x + 5.2, y - 2.2), "1 2", loc="top")
    sheet.two("D3", elm.Schottky(), (x + 7.6, y - 2.2), (x + 7.6, y), "A K", loc="bottom", ofst=0.3)
    for at in (x + 5.2, x + 7.6):
        sheet.dot((at, y))
        sheet.ground((at, y - 2.2))
    ends = sheet.module(
        "U8", (x + 10.6, y + 0.8), 3.2, [("INA", "INA"), ("INB", "INB")],
        [("VDD", "VDD"), ("OUTA", "OUTA"), ("GND", "GND")],
    )  # fmt: skip
    sheet.wire((x + 4.8, y), ends["INA"])
    sheet.ground(ends["INB"])
    sheet.ground(ends["GND"])
    sheet.name("EMITTER_SUPPLY", ends["VDD"])
    sheet.name("GATE_DRIVE", ends["OUTA"])


def _string(sheet: Sheet, n: int, x: float, top: float) -> None:
    elm = elements()
    sheet.dot((x, top))
    chain = [f"{letters}{n}" for letters in ("IA", "IB", "IC", "ID")]
    chain = [ref for ref in chain if ref in sheet.box.part]
    for place, ref in enumerate(chain):
        start = top - 2.2 * place
        sheet.two(ref, elm.LED(), (x, start), (x, start - 2.2), "A K", loc="top", ofst=0.5)
    drain = (x, top - 2.2 * len(chain))
    ends = sheet.placed(
        f"QM{n}", elm.AnalogNFet().right().reverse().anchor("drain").at(drain),
        {"gate": "G", "drain": "D", "source": "S"},
    )  # fmt: skip
    sheet.text((x + 0.4, drain[1] - 1.0), f"QM{n} {sheet.box.part[f'QM{n}'].mark}", 10, "left")
    gate, low = ends["G"], ends["S"][1] - 1.0
    limit = elm.BjtNpn(circle=True).right().reverse().anchor("base").at((x - 1.0, low))
    pins = sheet.placed(f"QL{n}", limit, {"base": "B", "collector": "C", "emitter": "E"})
    column = pins["C"][0]
    sheet.text((column - 0.75, low - 0.15), f"QL{n} {sheet.box.part[f'QL{n}'].mark}", 10, "right")
    sheet.wire(pins["C"], (column, gate[1]))
    sheet.ground(pins["E"])
    sheet.wire(pins["B"], (x, low))
    sheet.wire(ends["S"], (x, low))
    sheet.dot((x, low))
    sheet.dot((column, gate[1]))
    sheet.two(f"RE{n}", elm.ResistorIEC(), (x, low), (x, low - 2.2), "1 2", loc="top")
    sheet.ground((x, low - 2.2))
    sheet.two(f"RG{n}", elm.ResistorIEC(), (column - 2.6, gate[1]), (column - 0.2, gate[1]), "1 2")
    sheet.wire((column - 0.2, gate[1]), gate)
    sheet.name("GATE_DRIVE", (column - 2.6, gate[1]), "left")
