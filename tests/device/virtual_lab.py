"""A world for tests: boxes that run a few lines of MicroPython instead of the firmware."""

from __future__ import annotations

import textwrap
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from handbell.base.errors import HandbellError
from handbell.virtual.box import BoxSpec, VirtualBox
from handbell.virtual.process import find_micropython
from handbell.virtual.world import World

START_UTC_US = 1_700_000_000_000_000

try:
    find_micropython()
    WHY_NOT = ""
except HandbellError as reason:
    WHY_NOT = str(reason)

needs_micropython = pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT or "micropython is here")

BOARD = """
import time
def idle(until):
    time.sleep_ms(1)
"""

PRELUDE = """
import board_local as board, machine, neopixel, sys, time
from machine import ADC, I2C, PWM, Pin, Timer, WDT
def tell(*what):
    with open({notes!r}, "a") as f:
        print(*what, file=f)
def rest():
    while True:
        board.idle(None)
def wait_us(us):
    end = time.ticks_add(time.ticks_us(), us)
    while time.ticks_diff(end, time.ticks_us()) > 0:
        board.idle(end)
"""


class Lab:
    """One world, standing still between jumps; `box` runs a program, `notes` gives what it told."""

    def __init__(self, folder: Path, speed: int = 0) -> None:
        self.folder = folder
        self.world = World(folder / "world", START_UTC_US, speed)

    def box(self, program: str, name: str = "one", **spec: object) -> VirtualBox:
        firmware = self.folder / f"{name}-firmware"
        (firmware / "boards").mkdir(parents=True, exist_ok=True)
        (firmware / "boards" / "pico.py").write_text(BOARD, encoding="utf-8")
        prelude = PRELUDE.format(notes=str(self._notes(name)))
        source = prelude + textwrap.dedent(program)
        (firmware / "main.py").write_text(source, encoding="utf-8")
        flash = self.folder / f"{name}.flash"
        fields = {"unique_id": b"boxes-%02d" % len(self.world.boxes), "buttons": 4, **spec}
        return self.world.add_box(BoxSpec(name, flash=flash, firmware=firmware, **fields))  # type: ignore[arg-type]

    def notes(self, name: str = "one") -> list[str]:
        notes = self._notes(name)
        return notes.read_text(encoding="utf-8").splitlines() if notes.exists() else []

    def numbers(self, name: str = "one") -> list[int]:
        return [int(word) for line in self.notes(name) for word in line.split()]

    def _notes(self, name: str) -> Path:
        return self.folder / f"{name}.notes"


def until(true: Callable[[], object], within_s: float = 5.0) -> bool:
    """Waits in real time; only for what really happens in real time, such as a port opening."""
    end_s = time.monotonic() + within_s
    while time.monotonic() < end_s:
        if true():
            return True
        time.sleep(0.002)
    return bool(true())
