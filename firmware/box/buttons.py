"""The buttons: edges timed by interrupt into a ready-made ring, debounced in the loop."""

import time
from array import array

from handbell_core.taps import NOTHING, PRESS, RELEASE, Debouncer
from handbell_core.ticks import ticks_diff

SIZE = 64  # edges; a power of two
_MASK = SIZE - 1
LATCH_US = 1_000  # a latched edge is handled this soon after interrupts are on again
CLOSED, BOTH = 1, 2  # bits of an edge: the contact is closed; both edges were latched


class Buttons:
    """Up to four buttons; ``take`` hands over presses and releases in order.

    The ring is one array: [0] edges written so far, then pairs of a tick and
    slot * 4 + bits.
    """

    def __init__(self, pins, captures=None) -> None:
        """``captures`` are the buttons' PIO captures, on a board that has them."""
        self._captures = captures
        self.count = len(pins)
        self._pins = pins
        self._ring = array("i", [0] * (1 + 2 * SIZE))
        self._read = 0
        self._bounce = [Debouncer() for _ in pins]
        self._blind_from = self._blind_to = self._cleared = time.ticks_us()
        self.lost = 0
        for slot, pin in enumerate(pins):
            both = pin.IRQ_FALLING | pin.IRQ_RISING
            irq = pin.irq(None, both, hard=True)
            pin.irq(self._handler(slot, irq), both, hard=True)

    def _handler(self, slot: int, irq):
        ring, now, code = self._ring, time.ticks_us, slot * 4

        # A hard interrupt: nothing here may allocate, and a call with more than four closed-over
        # names would.
        def edge(pin) -> None:
            w = ring[0]
            at = 1 + 2 * (w & 63)
            ring[at] = now()
            what = code if pin() else code + CLOSED
            ring[at + 1] = what + BOTH if irq.flags() == 12 else what
            ring[0] = (w + 1) & 0xFFFFFF

        return edge

    def is_closed(self, slot: int) -> bool:
        """Whether a contact is closed now."""
        return not self._pins[slot]()

    def pending(self) -> bool:
        """Whether edges wait to be taken."""
        return self._ring[0] != self._read

    def take(self, tick: int, sink) -> None:
        """Call ``sink.button(slot, event, tick)`` for each press and release up to ``tick``."""
        ring = self._ring
        waiting = (ring[0] - self._read) & 0xFFFFFF
        if waiting > SIZE:
            self.lost += waiting - SIZE
            self._read = (ring[0] - SIZE) & 0xFFFFFF
        while self._read != ring[0]:
            at = 1 + 2 * (self._read & _MASK)
            self._read = (self._read + 1) & 0xFFFFFF
            self._edge(ring[at], ring[at + 1], sink)
        for slot in range(self.count):
            bounce = self._bounce[slot]
            event = bounce.poll(tick)
            if event != NOTHING:
                sink.button(slot, event, bounce.at)

    def _edge(self, tick: int, what: int, sink) -> None:
        slot, closed = what >> 2, bool(what & CLOSED)
        bounce = self._bounce[slot]
        if what & BOTH and self._was_blind(tick):
            event = bounce.poll(tick)
            if event != NOTHING:
                sink.button(slot, event, bounce.at)
            if bounce.unseen(tick, closed):
                for event in (RELEASE, PRESS) if closed else (PRESS, RELEASE):
                    sink.button(slot, event, tick)
                return
        self._feed(slot, tick, closed, sink)

    def _was_blind(self, tick: int) -> bool:
        return (
            ticks_diff(tick, self._blind_from) >= 0 and ticks_diff(tick, self._blind_to) <= LATCH_US
        )

    @property
    def sees_all(self) -> bool:
        """Whether edges are timed rightly even through a flash write."""
        return self._captures is not None

    def before_blind(self, tick: int, sink) -> None:
        """A flash write is about to keep interrupts off."""
        self.take(tick, sink)
        self._cleared = time.ticks_us()
        for capture in self._captures or ():
            capture.clear()

    def blind(self, start: int, end: int, sink) -> None:
        """A flash write kept interrupts off between these ticks.

        With PIO captures every edge is known; else the chip has latched which kinds of edge came.
        """
        if self._captures is None:
            self._blind_from, self._blind_to = start, end
            for bounce in self._bounce:
                bounce.blind_until(end)
            return
        known = self._ring[0]  # what interrupts saw so far the captures tell too
        for slot, capture in enumerate(self._captures):
            closed = capture.was_closed
            self._feed(slot, self._cleared, closed, sink)  # if it came since the last was taken
            for tick in capture.ticks():
                closed = not closed
                self._feed(slot, tick, closed, sink)
            self._feed(slot, time.ticks_us(), not self._pins[slot](), sink)
        self._read = known

    def _feed(self, slot: int, tick: int, closed: bool, sink) -> None:
        bounce = self._bounce[slot]
        event = bounce.feed(tick, closed)
        if event != NOTHING:
            sink.button(slot, event, bounce.at)

    def wait_us(self, tick: int) -> int:
        """Return the microseconds until a contact has settled, -1 if all are still."""
        least = -1
        for bounce in self._bounce:
            wait = bounce.wait_us(tick)
            if wait >= 0 and (least < 0 or wait < least):
                least = wait
        return least

    def forget(self, tick: int) -> None:
        """Forget old presses; to be called every minute, since ticks wrap."""
        for bounce in self._bounce:
            bounce.forget_last(tick)
