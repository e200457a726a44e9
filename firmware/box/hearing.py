"""Telegrams from the bytes of a receiver's ring, read in pieces, each with the tick of its end."""

import time

from handbell_core.bursts import Reader
from handbell_core.ticks import ticks_add, ticks_diff

# The ring, as ``box.infrared`` fills it: a byte is (turns left << 1 | dark), of a time that begins
# with TURNS; RAN_OUT says that they ran out and nothing changed.
RING = 2048  # bytes, a power of two: 400 ms of edges as close as they can be, and some more
TURNS = 125
RAN_OUT = 127
CYCLE_US = 8
TURN_US = 4 * CYCLE_US
EDGE_US = 29 * CYCLE_US  # an edge's byte takes so much beside its turns
WHOLE_US = (TURNS + 2) * TURN_US  # what a byte without an edge takes
BEHIND_US = 28 * CYCLE_US + TURN_US // 2  # from an edge to its byte, in the mean

PIECE = 24  # bytes, read in one go
PIECE_US = 2_500  # what that may take on the chip
LOOK_US = 10_000
_LONGEST_US = 1 << 20  # from edge to edge; what is longer is that
_OFF_US = 2_000  # a clock this far off lost bytes


class Hearing:
    """Calls ``heard(data, tick)`` for each telegram: its 16 bytes, and when it ended.

    ``edges`` are the ring, what fills it (``write`` is where its next byte goes, from ``begin``),
    ``begin``, the tick at which the first byte's time began, and what must not be collected.
    """

    def __init__(self, edges, heard) -> None:
        self._ring, self._dma, self._begin, tick, self._kept = edges
        self._heard = heard
        self._reader = Reader()
        self._read = 0
        self._tick = self._looked = tick  # when the last byte that was read ended; of the last look
        self._since_us = 0  # the edge before
        self._behind = False
        self.lost = 0  # times

    def due_us(self, tick: int) -> int:
        """Return in how many us to read on."""
        if self._behind:
            return 0
        return max(0, LOOK_US - ticks_diff(tick, self._looked))

    def take(self, tick: int) -> None:
        """Read on, ``PIECE`` bytes at most."""
        self._looked = tick
        ring, reader = self._ring, self._reader
        read, us, at = self._read, self._since_us, self._tick
        now = time.ticks_us()
        left = self._dma.write - self._begin - read & RING - 1
        self._behind = left > PIECE
        ended = 0  # at most one telegram ends in a piece
        whole = None
        for _ in range(min(left, PIECE)):
            byte = ring[read]
            read = read + 1 & RING - 1
            turns = byte >> 1
            if turns == RAN_OUT:
                at = ticks_add(at, WHOLE_US)
                us = min(us + WHOLE_US, _LONGEST_US)
                continue
            took_us = EDGE_US + (TURNS - turns) * TURN_US
            at = ticks_add(at, took_us)
            if reader.edge(not byte & 1, us + took_us):
                whole, ended = bytes(reader.data), ticks_add(at, -BEHIND_US)
            us = 0
        self._read, self._since_us, self._tick = read, us, at
        if not self._behind:
            self._check(now)
        if whole:
            self._heard(whole, ended)

    def _check(self, now: int) -> None:
        """The last byte ended less than a whole one ago; if not, some were lost."""
        ago_us = ticks_diff(now, self._tick)
        if not -_OFF_US <= ago_us <= WHOLE_US + EDGE_US + _OFF_US:
            self._tick = ticks_add(now, -WHOLE_US // 2)
            self.lost += 1

    def close(self) -> None:
        """Let nothing be written into the ring any more."""
        self._dma.close()
