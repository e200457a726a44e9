"""What the parts on a virtual box do with what reaches them: light, sound, flash, outputs."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING, NamedTuple

from handbell.virtual.screen import HISTORY, Screen
from handbell.virtual.standin import _frames as frames
from handbell.virtual.standin._rtc import ADDRESS as RTC_ADDRESS

if TYPE_CHECKING:
    from handbell.virtual.rtc import RtcPart
    from handbell.virtual.spec import BoxSpec

RGB = tuple[int, int, int]


class StripChange(NamedTuple):
    """The colours of a light strip from `world_us` on."""

    world_us: int
    colours: tuple[RGB, ...]


class SoundChange(NamedTuple):
    """What a PWM pin gives from `world_us` on; silence is duty 0, duty is of 65535."""

    world_us: int
    freq_hz: int
    duty: int


class LevelChange(NamedTuple):
    """The level of an output pin from `world_us` on."""

    world_us: int
    level: int


class Light:
    """A strip of WS2812-type LEDs: three bytes each, green first; ``dead`` ones stay dark."""

    def __init__(self, leds: int, dead: frozenset[int] = frozenset()) -> None:
        self._dead = dead
        self._dark: tuple[RGB, ...] = ((0, 0, 0),) * leds
        self.colours = self._dark
        self.history: deque[StripChange] = deque(maxlen=HISTORY)

    def take(self, data: bytes, world_us: int) -> None:
        """One burst on the data line; LEDs that it doesn't reach keep their colour."""
        shown = tuple((data[i + 1], data[i], data[i + 2]) for i in range(0, len(data) - 2, 3))
        self._set((shown + self.colours[len(shown) :])[: len(self._dark)], world_us)

    def lose_power(self, world_us: int) -> None:
        """Dark."""
        self._set(self._dark, world_us)

    def _set(self, colours: tuple[RGB, ...], world_us: int) -> None:
        if self._dead:
            lit = enumerate(colours)
            colours = tuple((0, 0, 0) if n in self._dead else colour for n, colour in lit)
        if colours != self.colours:
            self.colours = colours
            self.history.append(StripChange(world_us, colours))


class Sound:
    """A sounder or a line output on a PWM pin."""

    def __init__(self) -> None:
        self.freq_hz = 0
        self.duty = 0
        self.history: deque[SoundChange] = deque(maxlen=HISTORY)

    def take(self, freq_hz: int, duty: int, world_us: int) -> None:
        """The pin's PWM was set."""
        if (freq_hz, duty) != (self.freq_hz, self.duty):
            self.freq_hz, self.duty = freq_hz, duty
            self.history.append(SoundChange(world_us, freq_hz, duty))

    def lose_power(self, world_us: int) -> None:
        """Silence."""
        self.take(self.freq_hz, 0, world_us)

    def bells(self) -> list[int]:
        """World times at which silence turned into sound."""
        onsets, sounding = [], False
        for change in list(self.history):
            if change.duty and not sounding:
                onsets.append(change.world_us)
            sounding = change.duty > 0
        return onsets


class Telegram(NamedTuple):
    """What began to go by infra-red at `world_us`."""

    world_us: int
    data: bytes


class Flash:
    """What was done to the flash chip since the box was made."""

    def __init__(self) -> None:
        self.erases = 0
        self.programs = 0
        self.busy_us = 0
        self.block_erases: dict[int, int] = {}

    def take(self, op: int, block: int, busy_us: int) -> None:
        """One erase, or one program of any length."""
        self.busy_us += busy_us
        if op == frames.ERASE:
            self.erases += 1
            self.block_erases[block] = self.block_erases.get(block, 0) + 1
        else:
            self.programs += 1


class Parts:
    """All the parts of one box: takes what the firmware did, each to its own."""

    def __init__(self, spec: BoxSpec, rtc: RtcPart | None) -> None:
        self.rtc = rtc
        self.screen = Screen(spec.screen_kind == "pages")
        dead = (n for n in range(spec.light_leds) if f"lamp {n + 1}" in spec.broken)
        self.light = Light(spec.light_leds, frozenset(dead))
        self.sound = Sound()
        self.line = Sound()
        self.flash = Flash()
        self.outputs: dict[int, deque[LevelChange]] = {}
        self.telegrams: deque[Telegram] = deque(maxlen=HISTORY)
        self._spec = spec

    def take(self, kind: int, arg: int, at_us: int, value: int, body: bytes) -> None:
        """One frame of the control channel; what meets no part does nothing."""
        spec = self._spec
        if kind == frames.I2C and arg == spec.screen_address:
            self.screen.take(body, at_us)
        elif kind == frames.I2C and arg == RTC_ADDRESS and self.rtc:
            self.rtc.take(body, at_us)
        elif kind == frames.STRIP and arg == spec.light_pin:
            self.light.take(body, at_us)
        elif kind == frames.PWM and arg in (spec.sound_pin, spec.line_pin):
            part = self.sound if arg == spec.sound_pin else self.line
            if part is self.sound and "sounder" in spec.broken:
                return
            part.take(value >> 16, value & 0xFFFF, at_us)
        elif kind == frames.LEVEL:
            levels = self.outputs.setdefault(arg, deque(maxlen=HISTORY))
            levels.append(LevelChange(at_us, value))
        elif kind == frames.LIT:
            self.telegrams.append(Telegram(at_us, body))
        elif kind == frames.FLASH:
            self.flash.take(arg, value >> 32, value & 0xFFFFFFFF)

    def lose_power(self, world_us: int) -> None:
        """Everything goes dark and silent; the clock has a cell of its own."""
        self.screen.lose_power(world_us)
        self.light.lose_power(world_us)
        self.sound.lose_power(world_us)
        self.line.lose_power(world_us)
