"""Whether the cues leave room for flash writes.

A write stalls the whole chip, so it must fall where nothing rings; and a tap must be stored within
5 s. So a cue-free stretch of 1.5 s must come round every 5 s: a box needs 1.4 s of it at most, so
where one ends the next must begin 3.6 s later or sooner. That leaves room for a count of three and
the bell it leads to, between whose notes a box writes as well (docs/engineers/timing.md).
"""

from __future__ import annotations

from collections.abc import Iterator

from handbell.compile.expand import Stretch
from handbell_core.cues import CLOSE, motif_ms, next_cue
from handbell_core.timeline import BOTH_SIDES

EVERY_MS = 5_000
GAP_MS = 1_500
NEEDED_MS = 1_400
BUSY_MOST_MS = EVERY_MS - NEEDED_MS

Sounds = tuple[tuple[int, int], ...]


class Cues:
    """The cues of spans as (from, to) offsets in ms, worked out once for each sort of span."""

    def __init__(self, count_s: int) -> None:
        self._count_s = count_s
        self._known: dict[tuple[int, int, int], Sounds] = {}

    def of(self, kind: int, duration_ms: int, flags: int) -> Sounds:
        """Return when a span's cues sound."""
        sort = (kind, duration_ms, flags & BOTH_SIDES)
        if sort not in self._known:
            self._known[sort] = tuple(self._ring(*sort))
        return self._known[sort]

    def _ring(self, kind: int, duration_ms: int, flags: int) -> Iterator[tuple[int, int]]:
        after_ms = 0
        while True:
            at_ms, cue = next_cue(kind, duration_ms, flags, self._count_s, after_ms)
            if at_ms < 0:
                return
            yield at_ms, at_ms + motif_ms(cue)
            after_ms = at_ms + 1


def crowded(stretches: list[Stretch], flags: list[int], cues: Cues) -> list[Stretch]:
    """Return the stretches from which on cues ring for too long without a gap, in order.

    A gate counts as 0 here, which is the worst case: it can only add quiet.
    """
    found: list[Stretch] = []
    begins = stretches[0]
    began_ms = quiet_ms = -GAP_MS

    def check() -> None:
        if quiet_ms - began_ms > BUSY_MOST_MS and (not found or found[-1] is not begins):
            found.append(begins)

    for s, bits in zip(stretches, flags, strict=True):
        for start, end in cues.of(s.kind, s.duration_ms, bits):
            if s.start_ms + start - quiet_ms >= GAP_MS:
                begins, began_ms = s, s.start_ms + start
            quiet_ms = max(quiet_ms, s.start_ms + end)
            check()
    if stretches[-1].end_ms - quiet_ms < GAP_MS:
        quiet_ms = stretches[-1].end_ms + motif_ms(CLOSE)
        check()
    return found
