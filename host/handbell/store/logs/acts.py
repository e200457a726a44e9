"""What acts of a remote did to a log: which of its records still hold, which windows they broke.

Nothing in a log is rewritten. An act says where the class is from then on, so ``class_ms`` may go
back or jump there; what holds of what stands before it is ruled in ``docs/engineers/formats.md``.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from handbell_core import journal as j
from handbell_core.agreement import OVER
from handbell_core.recall import Cuts, pressed_ms
from handbell_core.timeline import TAP_TALLY

from .outages import Record
from .timelines import Window

# What the word did to a window: it stood in its midst; an act led out of it before it was over;
# an act jumped over it; the box did not play it from beginning to end, since it heard an act late.
# Kept with a result's flags, above those of the journal.
PAUSED, SHORT, LEFT_OUT, LATE = 0x100, 0x200, 0x400, 0x800
TAP_PAUSED = 0x100  # of a press: a remote let the class stand

# From here on a box that jumps ahead missed something: people do a rep in about that time.
# Our own, no source.
MISSED_MS = 1_000

_PAYLOAD = struct.Struct("<HBBi")


class Taken(NamedTuple):
    """An act as a box took it: from ``was_ms`` (-1: the class had not begun) to ``class_ms``."""

    number: int
    what: int
    class_ms: int
    was_ms: int

    @classmethod
    def of(cls, record: Record) -> Taken:
        """Return what a record of an act says."""
        number, what, _, was_ms = _PAYLOAD.unpack_from(record[4])
        return cls(number, what, record[3], was_ms)


def acts_of(records: Iterable[Record]) -> list[Taken]:
    """Return the acts that a log tells of, in order."""
    return [Taken.of(record) for record in records if record[0] == j.ACT]


def void_of(records: Sequence[Record], windows: Mapping[int, Window]) -> frozenset[int]:
    """Return the places in a log of the presses, skips and results that no longer hold."""
    cuts = Cuts()
    led = False
    for kind, _, window, class_ms, _ in records:
        cuts.look(kind, window, class_ms)
        led = led or kind == j.ACT
    if not led:
        return frozenset()
    found = set()
    for seq, record in enumerate(records):
        cuts.next()
        if _is_void(cuts, record, windows):
            found.add(seq)
    return frozenset(found)


def _is_void(cuts: Cuts, record: Record, windows: Mapping[int, Window]) -> bool:
    kind, slot, window, class_ms, payload = record
    if kind == j.RESULT:
        return cuts.void_of(window, class_ms)
    if kind == j.STATE:
        return payload[1] == j.BY_SKIP and cuts.void_after(class_ms)
    if kind not in (j.TAP, j.BACK, j.FORTH, j.CONFIRM):
        return False
    asked = windows.get(window)
    if asked is not None and asked.at(slot).tap == TAP_TALLY:
        return cuts.void_of(window, asked.start_ms)
    return cuts.void_after(pressed_ms(kind, class_ms, payload))


def marks_of(records: Sequence[Record], windows: Mapping[int, Window]) -> dict[int, int]:
    """Return what acts did to windows, by number, as flags; those they left alone are not there.

    Where an act was heard in time it leads to the first window of a block, or to the end of a
    window of which little was left. Only then it is sure that all of the class jumped as the box.
    A box that could not read where an act leads gives up as if the window were over.
    """
    acts = acts_of(records)
    if not acts:
        return {}
    firsts: dict[int, int] = {}
    for window in windows.values():
        firsts[window.block] = min(firsts.get(window.block, window.start_ms), window.start_ms)
    blocks = set(firsts.values())
    marks: dict[int, int] = {}
    for act in acts:
        for window in windows.values():
            found = _mark(act, window, marks.get(window.number, 0), act.class_ms in blocks)
            marks[window.number] = found
    for kind, _, _, class_ms, payload in records:
        if kind == j.END and payload[0] == j.BY_FAULT:
            for window in windows.values():
                marks[window.number] |= LATE if window.end_ms == class_ms else 0
    return {number: found for number, found in marks.items() if found}


def _mark(act: Taken, window: Window, before: int, to_block: bool) -> int:
    """Return a window's flags after one more act."""
    at_ms, was_ms = act.class_ms, act.was_ms
    if at_ms <= window.start_ms:  # it is still to come
        return LEFT_OUT if act.what == OVER else 0
    if at_ms < window.end_ms:
        if act.what == OVER:
            return before | SHORT
        missed = max(was_ms, window.start_ms) < at_ms - MISSED_MS
        return before & (PAUSED | LATE) | PAUSED | (LATE if missed else 0)
    if act.what == OVER or not 0 <= was_ms < window.end_ms:
        return before
    if not to_block and at_ms != window.end_ms:
        return before | LATE
    return LEFT_OUT if was_ms <= window.start_ms else before | SHORT
