"""The infra-red receiver's edges as PIO and DMA would put them into a ring, even in a flash stall.

Timed as the firmware's PIO program times them: see `box/infrared.py`.
"""

import _clock
import _irq
import _world

_RING = 2048
_TURNS = 125
_RAN_OUT = 127
_FIRST_US = 8  # from a byte's begin to its first look at the pin
_TURN_US = 32
_EDGE_US = 232  # what an edge's byte takes beside its turns
_WHOLE_US = 4064  # what a byte without an edge takes

pin = None  # its number, where one is fitted


class _Watch:
    """Fills the ring up to the present whenever it is asked where its next byte goes."""

    def __init__(self):
        self.ring = bytearray(_RING)
        self._at = 0
        self._begin = _clock.tick_of(_clock.now())  # of the byte to come
        self._dark = True  # what the program takes the pin for
        self._level = _irq.levels[pin]
        self._changed = self._begin
        _irq.watches[pin] = self

    @property
    def write(self):
        """Where its next byte goes."""
        until_us = min(_clock.now(), _world.horizon_us())
        if _irq.edges:
            until_us = min(until_us, _irq.edges[0] >> 8)
        self._run(_clock.tick_of(until_us) - _EDGE_US)
        return self._at

    def edge(self, level, event_us):
        """The pin has another level from now on."""
        tick = _clock.tick_of(event_us)
        self._run(tick)
        self._level, self._changed = level, tick

    def close(self):
        """Watches no more."""
        _irq.watches.pop(pin, None)

    def _run(self, until):
        while True:
            turns = 0
            if bool(self._level) != self._dark:
                late_us = self._changed - self._begin - _FIRST_US
                turns = max(0, (late_us + _TURN_US - 1) // _TURN_US)
                if turns <= _TURNS:
                    if self._begin + _FIRST_US + turns * _TURN_US >= until:
                        return
                    self._dark = not self._dark
                    self._put(_TURNS - turns)
                    self._begin += _EDGE_US + turns * _TURN_US
                    continue
            if self._begin + _WHOLE_US > until:
                return
            self._put(_RAN_OUT)
            self._begin += _WHOLE_US

    def _put(self, turns_left):
        self.ring[self._at] = turns_left << 1 | self._dark
        self._at = (self._at + 1) & (_RING - 1)


def start():
    """What `Hearing` reads from, None without a receiver."""
    if pin is None:
        return None
    watch = _Watch()
    return watch.ring, watch, 0, _clock.tick_of(_clock.now()) & _world.TICKS_MASK, None
