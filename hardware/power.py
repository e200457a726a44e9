"""The power budget: what each state draws from a battery, and how long the battery lasts.

Lamps are counted by running the firmware's own light strip through a span, the display by the
share of its pixels that the firmware's screens light, the board by the share of time it works.
"""

from __future__ import annotations

import importlib
from dataclasses import dataclass
from typing import Any

from handbell_core import timeline
from hardware import emitters
from hardware.formulas import capacity_ah, runtime_h
from hardware.model import Battery, Box, Display, State
from hardware.netlist import Netlist

USB_V = 5.0
STEPS = 400  # of a span, to average the strip over
SPAN_MS = 60_000


@dataclass(frozen=True)
class Draw:
    """What a state takes: mA from the battery; mA from 5 V where that feeds it."""

    board_ma: float
    display_ma: float
    lamps_ma: float
    sounder_ma: float
    gauge_ma: float
    emitters_ma: float

    @property
    def total_ma(self) -> float:
        """The sum, in mA."""
        fed_ma = self.board_ma + self.display_ma + self.lamps_ma + self.emitters_ma
        return fed_ma + self.sounder_ma + self.gauge_ma


@dataclass(frozen=True)
class Runtime:
    """How long a battery lasts in class, in hours."""

    class_ma: float
    new_h: float
    aged_h: float
    busy_h: float  # with the board's chip busy all the time
    reserve_h: float  # of class, from the limit at which none is begun any more


def lamps_ma(box: Box, kind: str) -> float:
    """Return the strip's mean current over a span of ``kind``, as the firmware lights it."""
    lamps = box.lamps()
    if lamps is None:
        return 0.0
    lights: Any = importlib.import_module("box.lights")
    strip = _Strip(box.firmware.lamps)
    light = lights.Lights(strip, box.firmware.lamp_cap)
    resting = kind == "RESTING"
    span_kind = timeline.WINDOW if resting else getattr(timeline, kind)
    extra = lights.RESTING if resting else lights.BY_KIND
    levels = 0
    for step in range(STEPS):
        left_ms = 0 if resting else SPAN_MS - SPAN_MS * step // STEPS
        light.set(span_kind, left_ms, 0 if resting else SPAN_MS, SPAN_MS - left_ms, extra)
        levels += sum(sum(lamp) for lamp in strip.lamps)
    return levels / STEPS / 255 * lamps.colour_ma + lamps.count * lamps.dark_ma


class _Strip:
    """Takes what the firmware would send to the lamps."""

    def __init__(self, count: int) -> None:
        self.lamps = [(0, 0, 0)] * count

    def __setitem__(self, at: int, colour: tuple[int, int, int]) -> None:
        self.lamps[at] = colour


def display_ma(display: Display, lit: float) -> float:
    """Return a display's current at 3.3 V with a share of its pixels lit."""
    return display.dark_ma + (display.lit_ma - display.dark_ma) * lit


def board_ma(box: Box, busy: float) -> float:
    """Return the board's own current at 5 V of USB."""
    draw = box.board_draw
    return draw.idle_ma + (draw.busy_ma - draw.idle_ma) * busy


def board_most_ma(box: Box) -> float:
    """Return what board and display may take of a battery at its lamps' limit."""
    draw = _draw(box, State(what="", busy=1, kind="RESTING", screens=(), lit=1), 3.5)
    return draw.board_ma + draw.display_ma


def draw(box: Box, state: State, battery: Battery) -> Draw:
    """Return what a state draws from a battery, in mA at its mean voltage.

    Behind a converter to 5 V, or on USB, all is counted at 5 V first.
    """
    pack_v = battery.mean_v * battery.cells
    if battery.feed == "straight":
        return _draw(box, state, pack_v)
    at_5v = _draw(box, state, USB_V)
    part = box.boost.part if battery.feed == "boost" else 1.0
    scale = USB_V / pack_v / part
    return Draw(
        board_ma=at_5v.board_ma * scale,
        display_ma=at_5v.display_ma * scale,
        lamps_ma=at_5v.lamps_ma * scale,
        sounder_ma=at_5v.sounder_ma * scale,
        gauge_ma=at_5v.gauge_ma,
        emitters_ma=at_5v.emitters_ma * scale,
    )


def usb_ma(box: Box, state: State) -> float:
    """Return what a state takes at 5 V where nothing else feeds the box."""
    return _draw(box, state, USB_V).total_ma


def _draw(box: Box, state: State, supply_v: float) -> Draw:
    net = Netlist(box)
    diode_v = sum(box.supply.board_diode_v) / 2
    board_mw = board_ma(box, state.busy) * (USB_V - diode_v)
    others_ma = sum(part.draw_ma for part in box.part.values())
    logic_ma = display_ma(box.display_fitted(), state.lit) + others_ma
    display_mw = logic_ma * box.supply.logic_v / box.supply.converter
    behind_v = supply_v - diode_v
    told_ma = 0.0 if state.kind == "RESTING" else emitters.mean_ma(net, supply_v)
    sounding = 0.0 if state.kind == "RESTING" else box.class_day.sounding_part
    return Draw(
        board_ma=board_mw / behind_v,
        display_ma=display_mw / behind_v,
        lamps_ma=lamps_ma(box, state.kind),
        sounder_ma=_speaker_mean_ma(net, supply_v) * sounding,
        gauge_ma=supply_v / sum(net.gauge_ohms() or (float("inf"),)) * 1000,
        emitters_ma=emitters.idle_ma(net, supply_v) + told_ma,
    )


def _speaker_mean_ma(net: Netlist, supply_v: float) -> float:
    """Return the loudspeaker's mean current while it sounds: a square wave is on half the time."""
    duty = net.box.firmware.sound_duty / 65_536
    return sum(
        supply_v / (net.box.part[ref].ohm + net.speaker_series_ohm()) * 1000 * duty
        for ref in net.refs("speaker")
    )


def runtime(box: Box, battery: Battery) -> Runtime:
    """Return how long a battery lasts in class, down to the lamps' limit."""
    day = box.class_day

    def class_ma(work: State, rest: State) -> float:
        return (
            day.work_part * draw(box, work, battery).total_ma
            + (1 - day.work_part) * draw(box, rest, battery).total_ma
        )

    work, rest = box.state["work"], box.state["break"]
    load_ma = class_ma(work, rest)
    busy_ma = class_ma(work.model_copy(update={"busy": 1.0}), rest.model_copy(update={"busy": 1.0}))

    def hours(part: float, current_ma: float) -> float:
        ah = capacity_ah(battery.capacity_ah, battery.at_ma, current_ma, battery.load_exponent)
        return runtime_h(ah, part, current_ma)

    return Runtime(
        class_ma=load_ma,
        new_h=hours(battery.usable, load_ma),
        aged_h=hours(battery.usable * battery.aged, load_ma),
        busy_h=hours(battery.usable, busy_ma),
        reserve_h=hours(battery.low_part * battery.aged, load_ma),
    )
