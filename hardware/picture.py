"""The wiring picture: what goes where, for people who do not read schematics. Our own SVG."""

from __future__ import annotations

from hardware import chip, picture_infrared
from hardware.drawn import Point
from hardware.easel import PLUGS, Easel
from hardware.model import LEADING, Box

BLUE, OCHRE, PINK, GREEN, SKY, RED = (
    "#0072b2", "#a06a00", "#b0578d", "#007a5a", "#2a86c8", "#d55e00",
)  # fmt: skip
LEFT_X, RIGHT_X = 640, 860  # the board's edges
TOP_Y, STEP = 200, 40  # its first pins, and from pin to pin


def svg(box: Box) -> str:
    """Return the picture as SVG; raises HandbellError if it is not what box.toml says."""
    return draw(box).svg()


def draw(box: Box) -> Easel:
    """Return the easel with the reference box's wiring on it, or the remote's."""
    remote = box.product == "remote"
    easel = Easel(box, 1640, 2280 if remote else 1950)
    _legend(easel)
    _board(easel)
    _display(easel)
    _clock(easel)
    _battery(easel)
    _gauge(easel)
    for n in range(1, box.buttons + 1):
        _button(easel, n)
    easel.plug("EMITTER_PIN", _pin(easel, "emitter"), "right")
    if remote:
        picture_infrared.emitters(easel, 1400, (300, 1790))
        return easel
    _line(easel)
    _sounder(easel)
    _lamps(easel)
    easel.plug("RECEIVER_OUT", _pin(easel, "receiver"), "right")
    picture_infrared.receivers(easel, 1450)
    picture_infrared.emitters(easel, 1610, (1330, 1350))
    return easel


def _pin(easel: Easel, name: str) -> Point:
    """Return where a pin of the board's edge is."""
    pins = easel.box.pins.by_name()
    number = chip.EDGE[pins[name]] if name in pins else chip.EDGE_SUPPLY.get(name, 38)
    return _edge(number)


def _edge(number: int) -> Point:
    half = chip.EDGE_PINS // 2
    if number <= half:
        return (LEFT_X, TOP_Y + STEP * (number - 1))
    return (RIGHT_X, TOP_Y + STEP * (chip.EDGE_PINS - number))


def _legend(easel: Easel) -> None:
    easel.words(60, 44, "What goes where", size=26, bold=True)
    easel.words(60, 74, "Plugs of one name are joined: a row of the solder board each.", size=17)
    for at, net in enumerate(net for net in PLUGS if net in easel.box.net):
        easel.swatch(730 + 102 * at, 68, net)


def _board(easel: Easel) -> None:
    names = easel.box.pins.by_name()
    fitted = {
        end.partition(".")[2] for ends in easel.box.net.values() for end in ends if "U1." in end
    }
    by_number = {chip.EDGE[pin]: (name, f"GP{pin}") for name, pin in names.items()}
    by_number |= {number: (name, name) for name, number in chip.EDGE_SUPPLY.items()}
    by_number[38] = ("GND", "GND")
    easel.body(LEFT_X, TOP_Y - 50, RIGHT_X - LEFT_X, STEP * 19 + 90, "#2e6b4f")
    easel.body(LEFT_X + 75, TOP_Y - 72, 70, 44, "#c8c8c8")
    easel.words(750, TOP_Y - 44, "USB", size=14, align="middle")
    easel.words(750, 640, "U1", size=22, colour="white", align="middle", bold=True)
    easel.words(750, 668, "Pico, seen", size=16, colour="white", align="middle")
    easel.words(750, 690, "from above", size=16, colour="white", align="middle")
    for number in range(1, chip.EDGE_PINS + 1):
        name, label = by_number.get(number, ("", ""))
        used = name in fitted
        at = _edge(number)
        easel.pad(at, used)
        side = 1 if at[0] == LEFT_X else -1
        align = "start" if side > 0 else "end"
        words = f"{number}  {label}" if side > 0 else f"{label}  {number}"
        colour = "white" if used else "#9ec4b0"
        easel.words(
            at[0] + 14 * side, at[1] + 5, words if used else str(number), size=14, colour=colour,
            align=align,
        )  # fmt: skip
        if used:
            easel.drawn.ends[f"U1.{name}"] = at


def _display(easel: Easel) -> None:
    terminals = {"VCC": (300, 150), "GND": (300, 190), "SDA": (300, 230), "SCL": (300, 270)}
    easel.module("U2", 60, 120, 240, 180, terminals, "#1d2733")
    easel.body(80, 165, 150, 90, "#0e141b")
    easel.words(155, 220, "18", size=44, colour="#dfe9ef", align="middle", bold=True)
    easel.plug("3V3", terminals["VCC"], "right")
    easel.plug("GND", terminals["GND"], "right")
    sda, scl = _pin(easel, "sda"), _pin(easel, "scl")
    easel.wire(BLUE, terminals["SDA"], (590, 230), (590, sda[1]), sda)
    easel.wire(OCHRE, terminals["SCL"], (560, 270), (560, scl[1]), scl)
    easel.two("R1", (440, 230), (440, 150), "2", "1")
    easel.plug("3V3", (440, 150), "up")
    easel.two("R2", (440, 270), (440, 350), "2", "1")
    easel.plug("3V3", (440, 350), "down")
    easel.plug("SDA", (520, 230), "up")
    easel.plug("SCL", (520, 270), "down")
    for ref, x, ends in (("C4", 360, "12"), ("C3", 490, "+-")):
        easel.two(ref, (x, 430), (x, 495), *ends)
        easel.plug("3V3", (x, 430), "up")
        easel.plug("GND", (x, 495), "down")


def _clock(easel: Easel) -> None:
    y = _pin(easel, "clock_square")[1]
    terminals = {
        "VCC": (180, y - 130), "GND": (180, y - 100), "SDA": (180, y - 70), "SCL": (180, y - 40),
        "SQW": (180, y + 30),
    }  # fmt: skip
    easel.module("U3", 60, y - 160, 120, 220, terminals, "#3a4a7a")
    for end, net in (("VCC", "3V3"), ("GND", "GND"), ("SDA", "SDA"), ("SCL", "SCL")):
        easel.plug(net, terminals[end], "right")
    pin = _pin(easel, "clock_square")
    easel.wire(PINK, terminals["SQW"], (590, y + 30), (590, y), pin)


def _button(easel: Easel, n: int) -> None:
    pin = _pin(easel, f"button{n}")
    first = _pin(easel, "button1")[1]
    y = first + 150 * (n - 1)
    terminals = {"1": (220, y), "2": (220, y + 40)}
    easel.module(f"SB{n}", 60, y - 60, 160, 120, terminals, "#4b4b4b")
    easel.dome(125, y + 12, 40)
    if easel.box.product == "remote":
        easel.words(70, y - 38, LEADING[n - 1], 14, colour="white")
    easel.plug("GND", terminals["2"], "right")
    easel.wire(GREEN, terminals["1"], (400, y))
    easel.two(f"RP{n}", (330, y), (330, y - 80), "2", "1")
    easel.plug("3V3", (330, y - 80), "up")
    easel.two(f"RS{n}", (400, y), (470, y), "1", "2")
    # Each next one turns up nearer to the board, so that no wire crosses another.
    turn = 530 + 20 * n
    easel.wire(GREEN, (470, y), (turn, y), (turn, pin[1]), pin)
    x = 590 if easel.box.buttons == 1 else 510
    easel.two(f"CB{n}", (x, y), (x, y + 70), "1", "2", flip=True)
    easel.plug("GND", (x, y + 70), "down")


def _line(easel: Easel) -> None:
    pin = _pin(easel, "line")
    y = pin[1]
    terminals = {"tip": (200, y), "sleeve": (200, y - 40)}
    easel.module("J1", 60, y - 80, 140, 120, terminals, "#5a5a5a")
    easel.plug("GND", terminals["sleeve"], "right")
    easel.two("R8", (300, y), (230, y), "1", "2", flip=True)
    easel.wire(SKY, (230, y), terminals["tip"])
    easel.wire(SKY, (300, y), (340, y))
    easel.two("C5", (410, y), (340, y), "1", "2", flip=True)
    easel.wire(SKY, (410, y), (530, y))
    easel.two("R6", (600, y), (530, y), "1", "2", flip=True)
    easel.wire(SKY, (600, y), pin)
    for ref, x in (("R9", 320), ("C6", 425), ("R7", 510)):
        easel.two(ref, (x, y), (x, y - 70), "1", "2")
        easel.plug("GND", (x, y - 70), "up")


def _sounder(easel: Easel) -> None:
    pin = _pin(easel, "sounder")
    high, low = 1040, 1120
    terminals = {"1": (220, high), "2": (220, low)}
    easel.module("LS1", 60, 1010, 160, 140, terminals, "#5a5a5a")
    easel.dome(120, 1088, 42)
    easel.wire(RED, terminals["1"], (330, high))
    easel.two("R5", (400, high), (330, high), "1", "2")
    easel.plug("BATTERY", (400, high), "right")
    easel.two("D2", (280, low), (280, high), "A", "K")
    easel.wire(RED, terminals["2"], (430, low))
    ends = {"C": (430, low), "B": (500, low), "E": (465, low + 40)}
    easel.transistor("Q1", 465, low, ends)
    easel.plug("GND", ends["E"], "down")
    easel.two("R4", (600, low), (530, low), "1", "2")
    easel.wire(RED, (530, low), ends["B"])
    easel.wire(RED, (600, low), (620, low), (620, pin[1]), pin)


def _battery(easel: Easel) -> None:
    vbus, vsys = _pin(easel, "VBUS"), _pin(easel, "VSYS")
    left = {"IN+": (1130, 200), "IN-": (1130, 300)}
    right = {"B+": (1290, 165), "B-": (1290, 195), "OUT+": (1290, 275), "OUT-": (1290, 310)}
    easel.module("U4", 1130, 120, 160, 220, left | right, "#274b8f")
    easel.wire(RED, vbus, left["IN+"])
    easel.plug("GND", left["IN-"], "left")
    easel.plug("GND", right["OUT-"], "right")
    easel.words(1210, 362, f"R12 on it: {easel.box.part['R12'].ohm / 1000:g} k", 14, "middle")
    cell = {"+": (1390, 165), "-": (1390, 195)}
    easel.module("BT1", 1390, 130, 200, 90, cell, "#7a4f9a")
    easel.wire(RED, right["B+"], cell["+"])
    easel.wire("#222222", right["B-"], cell["-"])
    easel.wire(OCHRE, right["OUT+"], (1340, 275))
    easel.two("F1", (1340, 275), (1410, 275), "1", "2")
    switch = {"1": (1470, 275), "2": (1550, 275)}
    easel.module("S1", 1470, 252, 80, 60, switch, "#444444")
    easel.wire(OCHRE, (1410, 275), switch["1"])
    easel.wire(OCHRE, switch["2"], (1580, 275), (1580, 340))
    easel.plug("BATTERY", (1580, 340), "down")
    easel.wire(OCHRE, vsys, (900, vsys[1]))
    easel.two("D1", (970, vsys[1]), (900, vsys[1]), "A", "K")
    easel.plug("BATTERY", (970, vsys[1]), "right")
    easel.plug("GND", _pin(easel, "GND"), "right")
    easel.plug("3V3", _pin(easel, "3V3"), "right")


def _gauge(easel: Easel) -> None:
    pin = _pin(easel, "gauge")
    y = pin[1]
    easel.wire(GREEN, pin, (1080, y))
    for ref, x in (("R11", 940), ("C7", 1020)):
        easel.two(ref, (x, y), (x, y + 70), "1", "2")
        easel.plug("GND", (x, y + 70), "down")
    easel.two("R10", (1150, y), (1080, y), "1", "2")
    easel.plug("BATTERY", (1150, y), "right")
    easel.words(930, y - 18, "Battery gauge", 16, bold=True)


def _lamps(easel: Easel) -> None:
    pin = _pin(easel, "lamps")
    y = pin[1]
    terminals = {"VDD": (1130, y - 40), "DIN": (1130, y), "GND": (1130, y + 40)}
    easel.module("L1", 1130, y - 80, 460, 160, terminals, "#e8e4d8", dark=False)
    for lamp in range(easel.box.part["L1"].count):
        easel.body(1190 + 48 * lamp, y - 16, 32, 32, "#ffffff")
    easel.words(1190, y + 44, "arrows on the strip point this way \u2192", 14, colour="#333333")
    easel.wire(GREEN, pin, (920, y))
    easel.two("R3", (920, y), (990, y), "1", "2")
    easel.wire(GREEN, (990, y), terminals["DIN"])
    easel.plug("BATTERY", terminals["VDD"], "left")
    easel.plug("GND", terminals["GND"], "left")
    for ref, x, ends in (("C1", 1270, "+-"), ("C2", 1370, "12")):
        easel.two(ref, (x, 680), (x, 750), *ends)
        easel.plug("BATTERY", (x, 680), "up")
        easel.plug("GND", (x, 750), "down")
    easel.words(1450, 720, "both close to the strip", 15)
