"""The wiring picture's blocks of infra-red light: receivers, and emitters with their driver."""

from __future__ import annotations

from collections.abc import Sequence

from hardware.easel import Easel

BLUE, PINK, RED, VIOLET = "#2a86c8", "#b0578d", "#d55e00", "#7a4f9a"
STRING_WIDE = 385  # from one string to the next


def receivers(easel: Easel, y: float) -> None:
    """Draw the receivers, each with its own filter."""
    easel.words(60, y - 190, "Receivers, a third of a turn apart", 18, bold=True)
    for n in range(1, easel.box.receivers + 1):
        x = 300 + 330 * (n - 1)
        terminals = {"VS": (x, y - 60), "GND": (x, y - 30), "OUT": (x, y)}
        easel.module(f"RX{n}", x, y - 90, 90, 110, terminals, "#26262c")
        easel.plug("GND", terminals["GND"], "left")
        easel.plug("RECEIVER_OUT", terminals["OUT"], "left")
        easel.wire(RED, terminals["VS"], (x - 160, y - 60))
        easel.two(f"RF{n}", (x - 80, y - 60), (x - 80, y - 130), "2", "1")
        easel.plug("3V3", (x - 80, y - 130), "up")
        easel.two(f"CF{n}", (x - 160, y - 60), (x - 160, y - 130), "+", "-")
        easel.plug("GND", (x - 160, y - 130), "up")


def emitters(easel: Easel, y: float, strings_at: tuple[float, float]) -> None:
    """Draw the step-up, the driver behind its capacitor, and the strings."""
    easel.words(60, y - 90, "Step-up, and the capacitor that gives the pulses", 18, bold=True)
    _feed(easel, y)
    easel.words(60, y + 130, "Driver, behind a capacitor", 18, bold=True)
    _driver(easel, y + 210)
    for n in range(1, easel.box.strings + 1):
        _string(easel, n, strings_at[0] + STRING_WIDE * (n - 1), strings_at[1])


def _feed(easel: Easel, y: float) -> None:
    start = 240
    if easel.box.product == "remote":  # a box has these two at its lamps
        start = 380
        easel.wire(RED, (110, y), (start, y))
        easel.plug("BATTERY", (110, y), "up")
        _caps(easel, [("C1", 110), ("C2", 210)], y)
    else:
        easel.plug("BATTERY", (start, y), "left")
    terminals = {
        "IN+": (start, y), "IN-": (start, y + 50), "OUT+": (start + 160, y),
        "OUT-": (start + 160, y + 50),
    }  # fmt: skip
    easel.module("U7", start, y - 30, 160, 110, terminals, "#274b8f")
    for end, way in (("IN-", "left"), ("OUT-", "right")):
        easel.plug("GND", terminals[end], way)
    at = start + 190
    easel.wire(VIOLET, terminals["OUT+"], (at, y))
    easel.two("R14", (at, y), (at + 70, y), "1", "2")
    stored = [ref for ref in ("C9", "C12", "C10") if ref in easel.box.part]
    places = [(ref, at + 130 + 105 * n) for n, ref in enumerate(stored)]
    _caps(easel, places, y)
    last = places[-1][1] + 50
    easel.wire(VIOLET, (at + 70, y), (last, y))
    easel.plug("EMITTER_SUPPLY", (last, y), "right")


def _caps(easel: Easel, places: Sequence[tuple[str, float]], y: float) -> None:
    for ref, x in places:
        easel.two(ref, (x, y), (x, y + 70), *("+-" if easel.box.part[ref].polar else "12"))
        easel.plug("GND", (x, y + 70), "down")


def _driver(easel: Easel, y: float) -> None:
    easel.plug("EMITTER_PIN", (150, y), "left")
    easel.two("R15", (150, y), (220, y), "1", "2")
    easel.wire(PINK, (220, y), (250, y))
    easel.two("C11", (250, y), (320, y), "1", "2")
    easel.wire(PINK, (320, y), (600, y))
    easel.two("R16", (360, y), (360, y + 70), "1", "2")
    easel.two("D3", (450, y + 70), (450, y), "A", "K")
    for x in (360, 450):
        easel.plug("GND", (x, y + 70), "down")
    terminals = {
        "INA": (600, y), "INB": (600, y + 85), "VDD": (760, y), "OUTA": (760, y + 42),
        "GND": (760, y + 85),
    }  # fmt: skip
    easel.module("U8", 600, y - 30, 160, 145, terminals, "#3a4a7a")
    easel.plug("GND", terminals["INB"], "left")
    easel.plug("EMITTER_SUPPLY", terminals["VDD"], "right")
    easel.plug("GATE_DRIVE", terminals["OUTA"], "right")
    easel.plug("GND", terminals["GND"], "right")


def _string(easel: Easel, n: int, x: float, y: float) -> None:
    chain = [f"{letters}{n}" for letters in ("IA", "IB", "IC", "ID")]
    chain = [ref for ref in chain if ref in easel.box.part]
    easel.plug("EMITTER_SUPPLY", (x, y), "up")
    for place, ref in enumerate(chain):
        easel.two(ref, (x, y + 70 * place), (x, y + 70 * (place + 1)), "A", "K")
    low = y + 70 * len(chain)
    gate, source = low + 40, low + 100
    easel.transistor(
        f"QM{n}", x, gate, {"D": (x, low), "G": (x - 70, gate), "S": (x, source)}, "right"
    )
    left = x - 100
    easel.wire(VIOLET, (x - 120, gate), (x - 70, gate))
    easel.two(f"RG{n}", (x - 190, gate), (x - 120, gate), "1", "2")
    easel.plug("GATE_DRIVE", (x - 190, gate), "left")
    ends = {"C": (left, gate), "B": (x - 50, source), "E": (left, source + 45)}
    easel.transistor(f"QL{n}", left, source, ends, "left")
    easel.plug("GND", ends["E"], "down")
    easel.wire(VIOLET, ends["B"], (x, source))
    easel.two(f"RE{n}", (x, source), (x, source + 70), "1", "2")
    easel.plug("GND", (x, source + 70), "down")
