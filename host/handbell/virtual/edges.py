"""The edges still to come on a box's input pins, handed to it a page at a time."""

from __future__ import annotations

import heapq
import struct
from collections.abc import Iterable

from handbell.virtual.standin._frames import FOREVER_US

_PAGE = 256
Edge = tuple[int, int, int]
"""World time in microseconds, pin, level."""


def _pack(edge: Edge) -> int:
    world_us, pin, level = edge
    return world_us << 8 | pin << 1 | level


class EdgeFeed:
    """Sorts edges, knows which the box has, and can begin again after a power cut."""

    def __init__(self, levels: dict[int, int]) -> None:
        self._levels = dict(levels)
        self._sent: list[int] = []
        self._waiting: list[int] = []
        self._horizon_us = 0

    def add(self, edges: Iterable[Edge]) -> bool:
        """Takes edges in any order; says if the box has to hear of them at once."""
        fresh = sorted(map(_pack, edges))
        self._waiting = list(heapq.merge(self._waiting, fresh))
        return bool(fresh) and fresh[0] >> 8 < self._horizon_us

    def next_page(self, past_us: int) -> tuple[int, bytes]:
        """The next edges, and the time before which the box then knows them all.

        Edges before `past_us` are behind the box.
        """
        self._settle(past_us)
        size = min(_PAGE, len(self._waiting))
        while 0 < size < len(self._waiting) and self._same_time(size):
            size += 1
        page = self._waiting[:size]
        del self._waiting[:size]
        self._sent = sorted(self._sent + page)
        self._horizon_us = FOREVER_US
        if self._waiting:
            self._horizon_us = self._waiting[0] >> 8
        elif len(self._sent) >= _PAGE:
            # Enough for the box to hold: later edges wait here.
            self._horizon_us = (self._sent[-1] >> 8) + 1
        return self._horizon_us, struct.pack(f"<{len(page)}Q", *page)

    def restart(self, now_us: int) -> dict[int, int]:
        """Forgets what is past and that anything was sent; gives the pins' levels now."""
        self._sent = sorted(self._sent + self._waiting)
        self._settle(now_us + 1)
        self._waiting, self._sent = self._sent, []
        self._horizon_us = 0
        return dict(self._levels)

    def _same_time(self, size: int) -> bool:
        return self._waiting[size] >> 8 == self._waiting[size - 1] >> 8

    def _settle(self, past_us: int) -> None:
        past = [edge for edge in self._sent if edge >> 8 < past_us]
        for edge in past:
            self._levels[edge >> 1 & 0x7F] = edge & 1
        self._sent = self._sent[len(past) :]
