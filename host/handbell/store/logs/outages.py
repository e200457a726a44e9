"""Times in a class when a box was without power, as its journal tells them.

A box that joins its class again opens the same journal with a new record of itself and says so in
a change of state. What it did between its last record before and that was told to nobody.
"""

from __future__ import annotations

import struct
from collections.abc import Container, Iterable, Mapping
from typing import NamedTuple

from handbell_core import journal as j
from handbell_core import timeline as t
from handbell_core.taps import SlotCount

from .timelines import Window

Record = tuple[int, int, int, int, bytes]
Place = tuple[int, int]  # window and slot


class Outage(NamedTuple):
    """From the last ``class_ms`` told before to the one at which the box went on.

    ``told`` are the windows and slots whose results had been told by then. An act since then took
    the class back to ``back_ms``, so from there on it was played after all.
    """

    from_ms: int
    to_ms: int
    told: frozenset[Place]
    back_ms: int = 1 << 31

    @property
    def missed_to_ms(self) -> int:
        """The ``class_ms`` up to which nothing makes up for it."""
        return min(self.to_ms, self.back_ms)


def outages_of(records: Iterable[Record], void: Container[int] = ()) -> list[Outage]:
    """Return the outages that a journal's records tell of, in order.

    ``void`` are the places of records that no longer hold.
    """
    found: list[Outage] = []
    told: set[Place] = set()
    last_ms = 0
    began: tuple[int, frozenset[Place]] | None = None
    for seq, (kind, slot, window, class_ms, payload) in enumerate(records):
        if kind == j.ACT:
            last_ms = class_ms
            found = [one._replace(back_ms=min(one.back_ms, class_ms)) for one in found]
        elif kind == j.RESULT and seq not in void:
            told.add((window, slot))
        elif kind == j.BOX and began is None:
            began = last_ms, frozenset(told)
        elif kind == j.STATE:
            if struct.unpack_from("<BB", payload)[1] == j.BY_CLOCK:
                from_ms, before = began or (last_ms, frozenset(told))
                found.append(Outage(from_ms, max(from_ms, class_ms), before))
            began = None
        last_ms = max(last_ms, class_ms)
    return found


class Missed:
    """Which windows of a timeline outages spoilt."""

    def __init__(self, windows: Mapping[int, Window], outages: Iterable[Outage]) -> None:
        self._windows = windows
        self._outages = list(outages)

    def partly(self, place: Place, count: SlotCount, told: bool) -> bool:
        """Whether more may have been done in a window than its records tell.

        Not where they left nothing open: a target made or a position let go before, a tally
        confirmed, a result kept before. One that was never ``told`` fell into the outage.
        """
        asked = self._windows[place[0]].at(place[1])
        if asked.tap == t.TAP_NONE or count.confirmed:
            return False
        begin, end = asked.start_ms, asked.end_ms
        if asked.tap == t.TAP_TALLY:
            begin, end = entered_in(self._windows, asked)
        closes = asked.ask == t.ASK_TARGET or asked.tap == t.TAP_FINISH
        closed_ms = count.made_ms if closes else count.drop_ms
        for out in self._outages:
            if begin >= out.missed_to_ms or place in out.told:
                continue
            missed = out.from_ms < out.missed_to_ms and end > out.from_ms
            if not told or (missed and not 0 <= closed_ms <= out.from_ms):
                return True
        return False


def entered_in(windows: Mapping[int, Window], asked: Window) -> tuple[int, int]:
    """Return the rest in which a window's tally is entered: up to the next window."""
    later = [w.start_ms for w in windows.values() if w.start_ms >= asked.end_ms]
    return asked.end_ms, min(later, default=1 << 31)
