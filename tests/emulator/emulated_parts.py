"""The parts on an emulated board: what its pins and buses drive, and what drives its pins.

They attach to the chip that ``rp2040py`` emulates. All times are microseconds of emulated time.
What reaches the display and the light strip is decoded by the same models as on virtual boxes.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable
from typing import Any, NamedTuple

from handbell.virtual.parts import Light
from handbell.virtual.screen import Screen

TX_EMPTY = 0x10  # in the I2C block's interrupt status
HIGH = 1  # a listener is told 0 or 1 for a driven pin, more for one that nobody drives

# Serial NOR flash of the Pico's kind (W25Q16JV data sheet, typical and greatest values; the
# greatest from memory).
ERASE_US = {0x20: 45_000, 0xD8: 150_000}
PROGRAM = 0x02
PROGRAM_US = 400
SLOWEST_ERASE_US = 400_000


class Bus:
    """An I2C bus with a display on it; a byte takes nine clocks of the rate that was set."""

    def __init__(self, screen: Screen, address: int = 0x3C) -> None:
        self.screen = screen
        self._address = address
        self.transfers: list[tuple[float, int]] = []  # (when it ended, bytes)
        self._writing: bytearray | None = None
        self._next: list[Callable[[], None]] = []

    def attach(self, mcu: Any) -> None:
        """Answer for the chip's I2C0."""
        self._i2c = i2c = mcu.i2c[0]
        self._clock = mcu.clock
        self._alarm = mcu.clock.create_alarm(lambda: self._next.pop(0)())
        i2c.on_connect = self._connect
        i2c.on_write_byte = self._write
        i2c.on_read_byte = lambda ack: self._later(9, lambda: i2c.complete_read(0))
        i2c.on_stop = self._stop

    def _later(self, clocks: int, act: Callable[[], None]) -> None:
        # The clock's period from the counts that were programmed (RP2040 data sheet 4.3.14), at
        # 125 MHz, with the default spike filter of 7.
        counts = self._i2c.scl_low_period + 1 + self._i2c.scl_high_period + 14
        self._next.append(act)
        self._alarm.schedule(clocks * counts * 8.0)

    def _connect(self, address: int, mode: int) -> None:
        mine = address == self._address
        self._writing = bytearray() if mine else None
        self._later(10, lambda: self._connected(mine))

    def _connected(self, mine: bool) -> None:
        self._i2c.complete_connect(mine)
        if not mine:
            # An address that nobody answers empties the chip's queue (RP2040 data sheet, I2C);
            # the emulated one does not tell that it is empty, and the runtime waits for that.
            self._i2c._set_interrupts(TX_EMPTY)

    def _write(self, byte: int) -> None:
        if self._writing is not None:
            self._writing.append(byte)
        self._later(9, lambda: self._i2c.complete_write(self._writing is not None))

    def _stop(self) -> None:
        now_us = self._clock.nanos / 1000
        if self._writing:
            self.screen.take(bytes(self._writing), now_us)  # type: ignore[arg-type]
            self.transfers.append((now_us, len(self._writing)))
        self._writing = None
        self._i2c.complete_stop()


class Strip:
    """A WS2812-type strip: a high longer than 0.6 us is a one, 50 us of low end a burst."""

    ONE_NS = 600
    LONGEST_BURST_NS = 1_000_000

    def __init__(self, pin: int, leds: int = 8) -> None:
        self.light = Light(leds)
        self._pin = pin
        self._bits: list[int] = []
        self._rose = 0.0

    def attach(self, mcu: Any) -> None:
        """Listen to the pin."""
        self._clock = mcu.clock
        self._end = mcu.clock.create_alarm(self._burst)
        mcu.gpio[self._pin].add_listener(self._edge)

    def _edge(self, new: int, old: int) -> None:
        if new == HIGH:
            self._rose = self._clock.nanos
        elif new == 0 and old == HIGH:
            if not self._bits:
                self._end.schedule(self.LONGEST_BURST_NS)
            self._bits.append(1 if self._clock.nanos - self._rose > self.ONE_NS else 0)
            self._fell = self._clock.nanos

    def _burst(self) -> None:
        bits, self._bits = self._bits, []
        whole = range(0, len(bits) - 7, 8)
        data = bytes(int("".join(map(str, bits[at : at + 8])), 2) for at in whole)
        self.light.take(data, self._fell / 1000)  # type: ignore[arg-type]


class Tone(NamedTuple):
    """A stretch of sound on the sounder's pin."""

    onset_us: float
    freq_hz: float
    length_us: float


class Sounder:
    """Rising edges on a pin, heard as tones: a silence is longer than two of the lowest periods."""

    SILENCE_US = 4_500

    def __init__(self, pin: int) -> None:
        self._pin = pin
        self.rises: list[float] = []

    def attach(self, mcu: Any) -> None:
        """Listen to the pin."""
        clock = mcu.clock

        def edge(new: int, old: int) -> None:
            if new == HIGH:
                self.rises.append(clock.nanos / 1000)

        mcu.gpio[self._pin].add_listener(edge)

    def tones(self) -> list[Tone]:
        """Return what was heard; the frequency is that of the median period."""
        out: list[Tone] = []
        run: list[float] = []
        for rise in [*self.rises, float("inf")]:
            if run and rise - run[-1] > self.SILENCE_US:
                out.append(_tone(run))
                run = []
            run.append(rise)
        return out


def _tone(rises: list[float]) -> Tone:
    periods = sorted(b - a for a, b in itertools.pairwise(rises))
    period = periods[len(periods) // 2] if periods else 0.0
    return Tone(rises[0], 1e6 / period if period else 0.0, rises[-1] - rises[0] + period)


class Button:
    """A button to ground; the firmware pulls its pin up."""

    def __init__(self, pin: int) -> None:
        self._pin = pin
        self.pressed_us: list[float] = []

    def attach(self, mcu: Any) -> None:
        """Hang it on the pin, open."""
        self._clock = mcu.clock
        self._gpio = mcu.gpio[self._pin]
        self._gpio.release_input()

    def press(self, at_us: float, hold_us: int = 90_000, bounce_us: Iterable[int] = ()) -> None:
        """Close the contact at ``at_us`` for ``hold_us``; it toggles at each offset on the way.

        An even number of offsets leaves it closed. The release bounces the same way.
        """
        self.pressed_us.append(at_us)
        for begin_us, closed in ((at_us, True), (at_us + hold_us, False)):
            for offset_us in (0, *bounce_us):
                self._at(begin_us + offset_us, closed)
                closed = not closed

    def _at(self, at_us: float, closed: bool) -> None:
        def act() -> None:
            if closed:
                self._gpio.set_input_value(False)
            else:
                self._gpio.release_input()

        self._clock.create_alarm(act).schedule(at_us * 1000 - self._clock.nanos)


class Flash:
    """Makes the flash chip busy after an erase or a program, as a real one is.

    ``stalls_us`` holds how long the next erases or programs take instead of the typical time;
    ``cuts`` says of an operation, by how many were before it and its opcode, whether the power
    fails at it: an erase then does nothing, a program writes half of its bytes.
    """

    def __init__(self) -> None:
        self.ops: list[tuple[float, int, int, float]] = []  # (at, opcode, address, busy)
        self.stalls_us: list[int] = []
        self.cuts: Callable[[int, int], bool] = lambda number, op: False
        self.on_cut: Callable[[], None] = lambda: None
        self.is_dead = False
        self._busy_until = 0.0

    def attach(self, mcu: Any) -> None:
        """Stand between the chip's serial flash port and the flash."""
        ssi, clock = mcu.ssi, mcu.clock
        apply, shift = ssi._apply_command, ssi._shift_byte

        def apply_command() -> None:
            sent = ssi._tx_buffer
            if (
                len(sent) >= 4
                and ssi._write_enabled
                and (sent[0] in ERASE_US or sent[0] == PROGRAM)
            ):
                if self.is_dead:
                    return
                if self.cuts(len(self.ops), sent[0]):
                    self.is_dead = True
                    self.on_cut()
                    if sent[0] != PROGRAM:
                        return
                    del sent[4 + (len(sent) - 4) // 2 :]
                self._begin(clock.nanos / 1000, sent)
            apply()

        def shift_byte(byte: int) -> int:
            answer: int = shift(byte)
            reads_status = ssi._tx_buffer[0] == 0x05 and len(ssi._tx_buffer) > 1
            return answer | 1 if reads_status and clock.nanos / 1000 < self._busy_until else answer

        ssi._apply_command, ssi._shift_byte = apply_command, shift_byte

    def _begin(self, now_us: float, sent: bytearray) -> None:
        erase = sent[0] in ERASE_US
        busy_us = ERASE_US[sent[0]] if erase else PROGRAM_US
        if self.stalls_us:
            busy_us = self.stalls_us.pop(0)
        address = sent[1] << 16 | sent[2] << 8 | sent[3]
        self.ops.append((now_us, sent[0], address, busy_us))
        self._busy_until = now_us + busy_us

    def stalls(self) -> list[float]:
        """Return when each operation as slow as the slowest erase began."""
        return [at for at, _, _, busy in self.ops if busy == SLOWEST_ERASE_US]

    def erases(self, from_us: float = 0) -> list[tuple[float, float]]:
        """Return (begin, length) of every erase since ``from_us``."""
        return [(at, busy) for at, op, _, busy in self.ops if op in ERASE_US and at >= from_us]


class Receiver:
    """An infra-red receiver: its pin is low while it sees light."""

    def __init__(self, pin: int) -> None:
        self._pin = pin
        self._edges: list[tuple[float, bool]] = []

    def attach(self, mcu: Any) -> None:
        """Hang it on the pin, dark."""
        self._clock = mcu.clock
        self._gpio = mcu.gpio[self._pin]
        self._gpio.set_input_value(True)
        self._alarm = mcu.clock.create_alarm(self._next)

    def show(self, edges: Iterable[tuple[float, bool]]) -> None:
        """Let it see light come and go: (when, lit), all later than what it was shown before."""
        waited = bool(self._edges)
        self._edges += edges
        if not waited:
            self._schedule()

    def _next(self) -> None:
        self._gpio.set_input_value(not self._edges.pop(0)[1])
        self._schedule()

    def _schedule(self) -> None:
        if self._edges:
            self._alarm.schedule(max(0.0, self._edges[0][0] * 1000 - self._clock.nanos))
