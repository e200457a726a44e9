"""What of a log still holds once an act has taken the class back, and the counts that come of it.

Nothing in a log is rewritten. An act says where the class is from then on; what was pressed there
or later before it came counts for nothing, nor does the result of a window that was not over yet.
A tally is entered after its window, so it holds unless the class goes back into that window. So
each record asks only for the lowest class time of the acts behind it, and that is found in a first
look at all of them.
"""

import struct

from . import journal as j

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Protocol

    from .counting import Counting

    class Takes(Protocol):
        """What adds results up."""

        def take(self, bib: int, window: int, reps: int) -> bool:
            """Take a result that holds."""


_PRESSES = (j.TAP, j.BACK, j.FORTH, j.CONFIRM)


class Cuts:
    """The acts of a log that take something back: ``look`` at all records in turn first."""

    def __init__(self) -> None:
        self._looked = 0
        # (which record, class_ms, window open then) of each act behind which no lower one comes.
        self._cuts: "list[tuple[int, int, int]]" = []
        self._at = self._first = 0

    def look(self, kind: int, window: int, class_ms: int) -> None:
        """Look at the next record."""
        if kind == j.ACT:
            while self._cuts and self._cuts[-1][1] >= class_ms:
                self._cuts.pop()
            self._cuts.append((self._looked, class_ms, window))
        self._looked += 1

    def next(self) -> None:
        """Go on to the next record, to be asked about."""
        while self._first < len(self._cuts) and self._cuts[self._first][0] <= self._at:
            self._first += 1
        self._at += 1

    def void_after(self, class_ms: int) -> bool:
        """Whether what was done at ``class_ms`` no longer holds, by the record gone on to."""
        return self._first < len(self._cuts) and self._cuts[self._first][1] <= class_ms

    def void_of(self, window: int, start_ms: int) -> bool:
        """Whether what came after a whole window no longer holds: it is to be played on, or anew.

        ``start_ms`` is the ``class_ms`` at which it begins.
        """
        if self._first >= len(self._cuts):
            return False
        _, class_ms, open_window = self._cuts[self._first]
        return open_window == window or class_ms <= start_ms


def pressed_ms(kind: int, class_ms: int, payload: bytes) -> int:
    """Return the ``class_ms`` at which the press began that a record tells."""
    if kind == j.TAP:
        return class_ms
    return class_ms - int(struct.unpack("<H", payload[2:4])[0])


class Recall:
    """The windows of a ``Counting``, freshly begun, counted again from a log.

    ``look`` at every record in turn, then ``take`` every one. ``totals`` takes each result that
    holds: bib, window, reps.
    """

    def __init__(self, counting: "Counting", totals: "Takes | None" = None) -> None:
        self._counting = counting
        self._totals = totals
        self._cuts = Cuts()

    def look(self, buf: bytes, at: int) -> None:
        """Look at the 24 bytes at ``at``."""
        record = j.parse_record(buf[at : at + j.RECORD_SIZE]) if buf[at] == j.ACT else None
        if record is None:
            self._cuts.look(0, 0, 0)
        else:
            self._cuts.look(j.ACT, record[2], record[3])

    def take(self, buf: bytes, at: int) -> None:
        """Take the 24 bytes at ``at``."""
        self._cuts.next()
        kind, window = buf[at], buf[at + 2] | buf[at + 3] << 8
        counting = self._counting
        mine = window and window in (counting.window, counting.before_window)
        if kind == j.RESULT or mine and (kind in _PRESSES or kind == j.STATE):
            record = j.parse_record(buf[at : at + j.RECORD_SIZE])
            if record is not None:
                self._take(*record)

    def _take(self, kind: int, slot: int, window: int, class_ms: int, payload: bytes) -> None:
        cuts, counting = self._cuts, self._counting
        if kind == j.RESULT:
            if self._totals is not None and not cuts.void_of(window, class_ms):
                if not payload[10] & j.RES_LEGS:
                    bib, reps = struct.unpack("<HH", payload[:4])
                    self._totals.take(bib, window, reps)
        elif kind == j.STATE:
            if payload[1] == j.BY_SKIP and not cuts.void_after(class_ms):
                counting.skip_again(window)
        elif kind != j.TAP or not payload[6] & j.TAP_OUTSIDE:
            if counting.is_tally(slot, window):
                void = cuts.void_of(window, counting.began_ms(window))
            else:
                void = cuts.void_after(pressed_ms(kind, class_ms, payload))
            if not void:
                counting.replay(kind, slot, window, class_ms)
