"""Whether the boxes of a class played it at the same time, and where they parted.

A box that takes another mark of the grid at a start or a gate is behind by whole steps of it, and
one that waits alone by as long as it waited. Each is told by the box's own clock: what the clocks
were off by comes on top and is measured apart (``store.skews``).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from handbell.store.logs.moments import Moment

SAME_MS = 2  # the journal tells whole ms, each may be one off


@dataclass(frozen=True)
class BoxMoments:
    """One run: its moments, and the last ``class_ms`` its log knows of."""

    run: int
    moments: tuple[Moment, ...]
    end_class_ms: int

    def zero_at(self, class_ms: int) -> int | None:
        """Return UTC of ``class_ms`` 0 as it played at ``class_ms``; None where nothing says so."""
        if class_ms > self.end_class_ms:
            return None
        before = [m for m in self.moments if m.class_ms <= class_ms]
        return before[-1].zero_utc_ms if before else None


@dataclass(frozen=True)
class Parting:
    """Where in a class boxes came to play at other times than before.

    ``there`` are the runs that began, went on or joined there, each with how long it had stood
    (None: not known, or it had not). ``behind_ms`` tells of each run that can be compared by how
    much it was behind most of them from there on, below 0: ahead.
    """

    kind: str
    class_ms: int
    there: Mapping[int, int | None]
    behind_ms: Mapping[int, int]

    @property
    def apart_ms(self) -> int:
        """How far apart the boxes were from there on, 0 when they were in step."""
        values = self.behind_ms.values()
        far_ms = max(values, default=0) - min(values, default=0)
        return far_ms if far_ms > SAME_MS else 0


def partings(boxes: Sequence[BoxMoments]) -> list[Parting]:
    """Return where boxes parted or met again, in order; nothing where all were always in step."""
    found: list[Parting] = []
    before: dict[int, int] = {}
    for class_ms in sorted({m.class_ms for box in boxes for m in box.moments if m.left}):
        zeros = {b.run: zero for b in boxes if (zero := b.zero_at(class_ms)) is not None}
        here = {b.run: m for b in boxes for m in b.moments if m.class_ms == class_ms and m.left}
        if len(zeros) > 1 and _moved(before, zeros):
            kind = next(iter(here.values())).kind
            there = {run: m.stood_ms for run, m in here.items()}
            found.append(Parting(kind, class_ms, there, _behind(zeros)))
        before |= zeros
    return found


def stuck(boxes: Sequence[BoxMoments]) -> list[tuple[int, Moment]]:
    """Return the runs that did not go on from where others did, with where that was."""
    return [
        (box.run, m)
        for box in boxes
        for m in box.moments
        if not m.left and any(other.end_class_ms > m.class_ms for other in boxes)
    ]


def _moved(before: Mapping[int, int], now: Mapping[int, int]) -> bool:
    """Whether boxes stand otherwise to each other; those not met before are held in step."""
    common = [run for run in now if run in before]
    shifts = [now[run] - before[run] for run in common]
    if shifts and max(shifts) - min(shifts) > SAME_MS:
        return True
    fresh = [zero for run, zero in now.items() if run not in before]
    if not fresh:
        return False
    some = [*fresh, *(now[run] for run in common)]
    return max(some) - min(some) > SAME_MS


def _behind(zeros: Mapping[int, int]) -> dict[int, int]:
    """Hold each against the largest set that is in step, of equals the earliest."""
    some = sorted(zeros.values())
    sizes = {zero: sum(0 <= other - zero <= SAME_MS for other in some) for zero in some}
    usual = max(some, key=lambda zero: (sizes[zero], -zero))
    found = {run: zero - usual for run, zero in zeros.items()}
    return {run: 0 if abs(ms) <= SAME_MS else ms for run, ms in found.items()}
