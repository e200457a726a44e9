"""The model of ``box.toml``: parts, pins, nets and the facts that the rules need."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Kind = Literal[
    "board", "module", "charger", "boost", "cell", "fuse", "switch", "diode", "lamps", "resistor",
    "capacitor", "speaker", "npn", "mosfet", "driver", "jack", "button", "receiver", "emitter",
    "plain",
]  # fmt: skip
LEADING = ("Pause", "Go on", "Next block", "Stop")  # a remote's buttons, from the left
_TWO = {"resistor", "fuse", "switch", "speaker", "button"}


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Part(_Strict):
    """One part; electrical fields belong to some kinds only."""

    kind: Kind
    what: str
    mark: str = ""
    price: float = Field(ge=0)
    size: str = ""
    optional: str = ""
    pins: tuple[str, ...] = ()
    on: str = ""
    ohm: float = Field(default=0, ge=0)
    watt: float = 0.25
    nf: float = Field(default=0, ge=0)
    polar: bool = False
    volt: float = 0
    schottky: bool = False
    drop_v: tuple[float, float] = (0, 0)
    max_ma: float = 0
    hold_ma: float = 0
    gain: float = 0
    base_v: float = 0
    count: int = 1
    colour_ma: float = 0
    dark_ma: float = 0
    supply_v: tuple[float, float] = (0, 0)
    high_part: float = 0
    data_pf: float = 0
    db_1w_1m: float = 0
    bus_pf: float = 0
    pull_up_ohm: float = 0
    sink_ma: float = 0
    draw_ma: float = 0
    display: str = ""
    battery: str = ""
    nm: float = 0
    half_deg: float = 0
    mw_sr: tuple[float, float] = (0, 0)
    typical_v: float = 0
    out_v: tuple[float, float] = (0, 0)
    most_v: float = 0
    limit_ma: float = 0
    yields: float = 0
    idle_ma: float = 0
    high_v: float = 0
    low_v: float = 0
    gate_v: float = 0
    on_ohm: float = 0

    def ends(self) -> tuple[str, ...]:
        """Return the names of the ends that must be wired, none for a part without a net."""
        if self.kind == "plain" or self.on:
            return ()
        if self.pins:
            return self.pins
        if self.kind == "cell" or (self.kind == "capacitor" and self.polar):
            return ("+", "-")
        fixed = {"npn": ("B", "C", "E"), "mosfet": ("G", "D", "S"), "capacitor": ("1", "2")}
        fixed |= dict.fromkeys(("diode", "emitter"), ("A", "K"))
        return ("1", "2") if self.kind in _TWO else fixed.get(self.kind, ())


class Pins(_Strict):
    """GPIO numbers by what they do."""

    sda: int
    scl: int
    clock_square: int
    button: tuple[int, int, int, int]
    line: int
    sounder: int
    lamps: int
    receiver: int
    emitter: int
    gauge: int

    def by_name(self) -> dict[str, int]:
        """Return the numbers by the names that nets use."""
        named = {name: pin for name, pin in self if name != "button"}
        return named | {f"button{n}": pin for n, pin in enumerate(self.button, 1)}


class Firmware(_Strict):
    """What the firmware's board file must say beside its pins."""

    bus_hz: int
    lamps: int
    lamp_cap: int = Field(ge=0, le=255)
    sound_duty: int
    battery_low_mv: int


class Bus(_Strict):
    """The display's bus."""

    wires_pf: float
    board_pf: float
    stated_pf: float
    rise_ns: float


class Supply(_Strict):
    """Supplies and what they stand."""

    usb_v: tuple[float, float]
    board_diode_v: tuple[float, float]
    logic_v: float
    high_v: float
    lamp_rail_ma: float
    port_ma: float
    charge_volt_ohm: float
    converter: float
    rail_ma: float


class Gauge(_Strict):
    """The converter behind the battery's divider."""

    full_mv: float
    pin_ohm: float


class BoardDraw(_Strict):
    """What the board takes at 5 V of USB."""

    idle_ma: float
    busy_ma: float


class State(_Strict):
    """What a box does, for the power budget."""

    what: str
    busy: float = Field(ge=0, le=1)
    kind: str
    screens: tuple[str, ...]
    lit: float = Field(ge=0, le=1)


class ClassDay(_Strict):
    """The use that a battery is chosen for."""

    hours: float
    work_part: float
    sounding_part: float
    acts_an_hour: float


class Battery(_Strict):
    """A choice of battery."""

    name: str
    what: str
    cells: int
    full_v: float
    mean_v: float
    empty_v: float
    capacity_ah: float
    at_ma: float = 100
    usable: float
    aged: float
    load_exponent: float
    low_mv: int = 0
    low_part: float = 0
    feed: Literal["straight", "boost", "usb"]
    sleep_ma: float = 0


class Boost(_Strict):
    """A converter to 5 V."""

    part: float


class Display(_Strict):
    """A choice of display."""

    inch: str
    wide_mm: float
    high_mm: float
    dark_ma: float
    lit_ma: float
    price: float
    driver: bool


class Sounder(_Strict):
    """A choice of sounder."""

    what: str
    part: str = ""
    series_ohm: float = 0
    db: float = 0
    at_m: float = 1
    line: bool = False


class Shared(_Strict):
    """What a set of boxes shares."""

    what: str
    price: float = 0
    box: bool = False
    set: Literal["twelve", "bench"]


class Box(_Strict):
    """A whole box, or a remote: the reference or a variant, with its number of buttons."""

    variant: str
    what: str
    product: Literal["box", "remote"]
    boxes: int
    currency: str
    priced: str
    buttons: int = Field(ge=1, le=4)
    strings: int = Field(ge=0, le=4)
    receivers: int = Field(ge=0, le=3)
    free: tuple[str, ...]
    pins: Pins
    firmware: Firmware
    part: dict[str, Part]
    net: dict[str, tuple[str, ...]]
    bus: Bus
    supply: Supply
    gauge: Gauge
    board_draw: BoardDraw
    state: dict[str, State]
    class_day: ClassDay
    battery: tuple[Battery, ...]
    boost: Boost
    display: tuple[Display, ...]
    sounder: tuple[Sounder, ...]
    shared: tuple[Shared, ...]
    size: dict[str, dict[str, Any]]

    def display_fitted(self) -> Display:
        """Return the display that this box has."""
        inch = next(part.display for part in self.part.values() if part.display)
        return next(option for option in self.display if option.inch == inch)

    def battery_fitted(self) -> Battery | None:
        """Return the battery that this box has, None without one."""
        name = next((part.battery for part in self.part.values() if part.battery), "")
        return next((option for option in self.battery if option.name == name), None)

    def lamps(self) -> Part | None:
        """Return the light strip, None without one."""
        return next((part for part in self.part.values() if part.kind == "lamps"), None)

    def end_v(self) -> float:
        """Return the battery's voltage under which lamps or a step-up give too little."""
        return max(
            (part.supply_v[0] for part in self.part.values() if part.kind in ("lamps", "boost")),
            default=0.0,
        )
