"""Edges of a button captured by PIO, which goes on while a flash write stops the chip.

RP2040 datasheet, chapter PIO. A state machine counts microseconds down in X and pushes X at each
edge; after an edge it looks away for 8 ms, so that bounce fills no queue (8 words deep).
"""

import time

import rp2

from handbell_core.ticks import ticks_add

CLOCK_HZ = 3_000_000  # every loop takes three cycles: one microsecond
_WRAP = 1 << 32
_TAKE = rp2.asm_pio_encode("mov(isr, x)", 0)
_PUSH = rp2.asm_pio_encode("push(noblock)", 0)


@rp2.asm_pio(fifo_join=rp2.PIO.JOIN_RX)
def _edges():
    set(x, 31)
    in_(x, 5)
    in_(null, 8)
    mov(osr, isr)  # 31 << 8 = 7936 us to look away
    wrap_target()
    label("open")
    jmp(x_dec, "o")
    label("o")
    jmp(pin, "open")[1]
    mov(isr, x)
    push(noblock)
    mov(y, osr)
    label("look_away")
    jmp(x_dec, "a")
    label("a")
    jmp(y_dec, "look_away")[1]
    label("closed")
    jmp(x_dec, "c")
    label("c")
    jmp(pin, "opened")
    jmp("closed")
    label("opened")
    mov(isr, x)
    push(noblock)
    mov(y, osr)
    label("wait")
    jmp(x_dec, "w")
    label("w")
    jmp(y_dec, "wait")[1]
    wrap()


class Capture:
    """One button's edges while interrupts are off."""

    def __init__(self, number: int, pin) -> None:
        self._pin = pin
        self._machine = rp2.StateMachine(number, _edges, freq=CLOCK_HZ, jmp_pin=pin)
        self._closed = False

    def clear(self) -> None:
        """Forget what was captured so far, before interrupts go off."""
        machine = self._machine
        while machine.rx_fifo():
            machine.get()
        machine.restart()
        self._closed = not self._pin()
        machine.active(1)

    def ticks(self) -> list:
        """Return the tick of each edge since ``clear``, oldest first; they alternate."""
        machine = self._machine
        seen = []
        while machine.rx_fifo():
            seen.append(machine.get())
        machine.exec(_TAKE)
        machine.exec(_PUSH)
        tick = time.ticks_us()
        now = machine.get()
        machine.active(0)
        if self._closed:
            del seen[:1]  # begun on a closed contact it takes the first look for an edge
        return [ticks_add(tick, -((edge - now) % _WRAP)) for edge in seen]

    @property
    def was_closed(self) -> bool:
        """Whether the contact was closed at ``clear``."""
        return self._closed
