"""Arithmetic on the runtime's wrapping tick counters.

MicroPython's 32-bit ports count modulo 2**30 (its library reference, ``time.ticks_us``): the
microsecond counter wraps every 17.9 minutes and a difference is valid to half of that.
"""

PERIOD = 1 << 30
HALF = PERIOD >> 1
MASK = PERIOD - 1


def ticks_add(tick: int, delta: int) -> int:
    """Return the tick ``delta`` after ``tick`` (delta may be negative, under half a period)."""
    return (tick + delta) & MASK


def ticks_diff(end: int, start: int) -> int:
    """Return ``end - start`` as a signed count, right while they are under half a period apart."""
    return ((end - start + HALF) & MASK) - HALF


try:  # the chip's own are the same and several times faster
    import utime  # type: ignore[import-not-found]

    if utime.ticks_add(PERIOD - 1, 1) == 0:
        ticks_add, ticks_diff = utime.ticks_add, utime.ticks_diff
except ImportError:
    pass


class Extender:
    """Raw ticks extended past the wrap into ``box_us``, microseconds since the box started.

    ``extend`` must see a tick at least once in half a period (8.9 minutes).
    """

    def __init__(self, tick: int) -> None:
        self.tick = tick
        self.box_us = 0

    def extend(self, tick: int) -> int:
        """Move on to ``tick`` and return its ``box_us``."""
        self.box_us += ticks_diff(tick, self.tick)
        self.tick = tick
        return self.box_us

    def at(self, tick: int) -> int:
        """Return ``box_us`` of a tick near the last one seen, before or after, without moving."""
        return self.box_us + ticks_diff(tick, self.tick)
