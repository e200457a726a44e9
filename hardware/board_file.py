"""What a board file of the firmware says: run with recording stand-ins, then asked."""

from __future__ import annotations

import sys
import types
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

from handbell.base.errors import HandbellError

FIRMWARE = Path(__file__).resolve().parents[1] / "firmware"


@dataclass(frozen=True)
class BoardFile:
    """Pins and figures of a board file; ``pins`` has the names of box.toml's [pins].

    None is for what the file says it has not.
    """

    pins: dict[str, int | None]
    bus_hz: int
    lamps: int
    lamp_cap: int
    sound_duty: int
    battery_low_mv: int
    gauge_full_mv: int
    buttons_pulled_up: bool
    receiver_pulled_up: bool
    emitter_dark: bool


class _Pin:
    IN, PULL_UP, OUT, IRQ_FALLING = 0, 1, 2, 4

    def __init__(
        self, number: int, mode: int | None = None, pull: int | None = None, value: int = -1
    ) -> None:
        self.number, self.pull, self.value = number, pull, value


class _Bus:
    def __init__(self, number: int, sda: _Pin, scl: _Pin, freq: int, timeout: int = 0) -> None:
        self.sda, self.scl, self.freq = sda.number, scl.number, freq


class _Output:
    read_from: ClassVar[list[int]] = []

    def __init__(self, pin: _Pin, count: int = 0) -> None:
        self.number, self.count = pin.number, count

    def read_u16(self) -> int:
        self.read_from.append(self.number)
        return 65_535


@contextmanager
def _stand_ins() -> Iterator[None]:
    """Let ``machine``, ``neopixel``, ``box`` and ``boards`` be ours for a while."""
    machine: Any = types.ModuleType("machine")
    machine.Pin, machine.I2C, machine.ADC, machine.PWM = _Pin, _Bus, _Output, _Output
    neopixel: Any = types.ModuleType("neopixel")
    neopixel.NeoPixel = _Output
    infrared: Any = types.ModuleType("box.infrared")
    infrared.start = _itself
    emitter: Any = types.ModuleType("box.emitter")
    emitter.Sender = _itself
    ours = {"machine": machine, "neopixel": neopixel, "box": types.ModuleType("box")}
    ours |= {"box.infrared": infrared, "box.emitter": emitter}
    kept = {name: module for name, module in sys.modules.items() if _is_taken(name)}
    path = list(sys.path)
    for name in kept:
        del sys.modules[name]
    sys.modules.update(ours)
    sys.path.insert(0, str(FIRMWARE))
    try:
        yield
    finally:
        sys.path[:] = path
        for name in [name for name in sys.modules if _is_taken(name)]:
            del sys.modules[name]
        sys.modules.update(kept)


def _is_taken(name: str) -> bool:
    return name.split(".")[0] in ("machine", "neopixel", "box", "boards")


def _itself(pin: _Pin) -> _Pin:
    return pin


def read(path: Path) -> BoardFile:
    """Return what a board file says; raises HandbellError if it can't be run."""
    with _stand_ins():
        module: Any = types.ModuleType(path.stem)
        try:
            exec(compile(path.read_text(encoding="utf-8"), path.name, "exec"), module.__dict__)
            return _asked(module)
        except (OSError, SyntaxError, NameError, AttributeError, TypeError, ImportError) as error:
            raise HandbellError(
                f"{path.name} can't be run to see its pins: {error}",
                "Compare it with firmware/boards/pico.py",
            ) from error


def _asked(module: Any) -> BoardFile:
    bus, strip = module.bus(), module.strip()
    sounder, line = module.sounders()
    receiver, emitter = module.edges(), module.sender()
    buttons = [module.button(slot) for slot in range(len(module.BUTTON_PINS))]
    pins: dict[str, int | None] = {
        "sda": bus.sda,
        "scl": bus.scl,
        "clock_square": module.rtc_pin().number,
        "line": line.number,
        "sounder": sounder.number,
        "lamps": strip.number,
        "receiver": None if receiver is None else receiver.number,
        "emitter": None if emitter is None else emitter.number,
        "gauge": _gauge_pin(module),
    }
    pins |= {f"button{n}": pin.number for n, pin in enumerate(buttons, 1)}
    return BoardFile(
        pins=pins,
        bus_hz=bus.freq,
        lamps=strip.count,
        lamp_cap=module.LAMP_CAP,
        sound_duty=module.SOUND_DUTY,
        battery_low_mv=module.BATTERY_LOW_MV,
        gauge_full_mv=module.battery_mv(),
        buttons_pulled_up=all(pin.pull == _Pin.PULL_UP for pin in buttons),
        receiver_pulled_up=receiver is None or receiver.pull == _Pin.PULL_UP,
        emitter_dark=emitter is None or emitter.value == 0,
    )


def _gauge_pin(module: Any) -> int:
    """Return the pin that ``battery_mv`` reads, whatever the file calls it."""
    _Output.read_from.clear()
    module.battery_mv()
    return _Output.read_from[0] if _Output.read_from else -1
