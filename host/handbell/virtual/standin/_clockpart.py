"""The real-time clock in its box: what it answers on the bus, and its square wave on a pin."""

import _channel
import _clock
import _frames
import _heap
import _irq
from _rtc import ADDRESS, FALL, RISE, Rtc


class ClockPart:
    """The part on the bus. Only edges that an interrupt waits for are ever in the queue."""

    def __init__(self, pin, state):
        self._pin = pin
        self._rtc = Rtc(*state)
        self._next = None
        _irq.wave, _irq.wave_pin = self, pin

    def take(self, data):
        """Takes what was written to it; the world hears of it before the transfer ends."""
        if len(data) < 2:
            self._rtc.write(data, 0)  # no more than the register pointer
            return
        at_us = _channel.emit_bytes(_frames.I2C, ADDRESS, data)
        before = self._rtc.level(at_us)
        self._rtc.write(data, at_us)
        after = self._rtc.level(at_us)
        if before != after and self._wanted() & (RISE if after else FALL):
            self._queue(at_us, after)
        else:
            self.listen()

    def give(self, buf):
        """Fills `buf` with its registers as they are now."""
        buf[:] = self._rtc.read(len(buf), _clock.now())

    def level(self):
        """The level of its pin now."""
        return self._rtc.level(_clock.now())

    def listen(self):
        """Queues the next edge that an interrupt waits for, in place of the one before."""
        edge = self._rtc.edge_after(_clock.now(), self._wanted())
        if edge is None:
            self._drop()
        else:
            self._queue(*edge)

    def follow(self, event_us):
        """An edge was told: queues the one after it."""
        self._next = None
        edge = self._rtc.edge_after(event_us, self._wanted())
        if edge is not None:
            self._queue(*edge)

    def _wanted(self):
        irq = _irq.pins[self._pin]
        return irq.enabled if irq else 0

    def _queue(self, at_us, level):
        was_locked = _heap.unlock()
        self._drop()
        self._next = at_us << 8 | self._pin << 1 | level
        _irq.add_edge(self._next)
        _heap.lock(was_locked)

    def _drop(self):
        if self._next is not None:
            _irq.edges.remove(self._next)
            self._next = None
