"""Bouts of work and the rest after them, beside a published table: information, never a rule."""

from __future__ import annotations

import itertools
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from handbell_core.timeline import GATE

if TYPE_CHECKING:
    from handbell.compile import CompiledClass

    from .efforts import Effort

EVERY_MINUTE = "every-minute"
TABLE_SOURCE = (
    "Work to rest: the table of NSCA, Essentials of Strength Training and Conditioning, 4th ed. "
    "Circuits lie outside it on purpose; it is information, no rule"
)


@dataclass(frozen=True)
class TableRow:
    """A row of the work-to-rest table: work in ms (None: no end), rest as a multiple of it."""

    system: str
    from_ms: int
    to_ms: int | None
    least: int
    most: int


WORK_TO_REST = (
    TableRow("phosphagen", 5_000, 10_000, 12, 20),
    TableRow("fast glycolytic", 15_000, 30_000, 3, 5),
    TableRow("fast glycolytic and oxidative", 60_000, 180_000, 3, 4),
    TableRow("oxidative", 180_001, None, 1, 3),  # over 3 min
)


@dataclass(frozen=True)
class Bout:
    """Windows without a pause between them, the pauses after, and how the table compares.

    ``verdict`` is ``less``, ``as`` or ``more`` rest than in ``row``; ``none`` when the table has no
    row for work that long. ``estimated`` when what is likely left of a minute counts as rest.
    """

    work_ms: int
    rest_ms: int
    verdict: str
    row: TableRow | None
    estimated: bool = False


def compared(work_ms: int, rest_ms: int, estimated: bool = False) -> Bout:
    """Return a bout of work and the rest after it beside the table's row for work that long."""
    row = next(
        (r for r in WORK_TO_REST if r.from_ms <= work_ms and (not r.to_ms or work_ms <= r.to_ms)),
        None,
    )
    if row is None:
        return Bout(work_ms, rest_ms, "none", None, estimated)
    if rest_ms < row.least * work_ms:
        return Bout(work_ms, rest_ms, "less", row, estimated)
    verdict = "more" if rest_ms > row.most * work_ms else "as"
    return Bout(work_ms, rest_ms, verdict, row, estimated)


def bouts_of(
    built: CompiledClass, efforts: list[Effort], earned_ms: Callable[[Effort], int]
) -> Iterator[tuple[int, int, bool]]:
    """Yield work without a pause in it, and the rest after; not where a gate or the end comes.

    Legs that a tap ends have no length that anybody knows, and are left out.
    Where a task comes each minute, what is left of it is meant as rest: ``earned_ms`` says how much
    that likely is, and the third value that it was counted.
    """
    gates = [s.start_ms for s in built.schedule.stretches if s.kind == GATE]
    blocks = (built.plan.blocks[s.block - 1] for s in built.schedule.windows())
    done = [
        (effort, earned_ms(effort) if block.format == EVERY_MINUTE else 0)
        for effort, block in zip(efforts, blocks, strict=True)
        if effort.exercise is not None
    ]
    work_ms, estimated = 0, False
    for (effort, left_ms), (coming, _) in itertools.pairwise(done):
        if _hands_over(effort) or _hands_over(coming):
            work_ms, estimated = 0, False
            continue
        end_ms = effort.start_ms + effort.duration_ms - left_ms
        work_ms += effort.duration_ms - left_ms
        estimated = estimated or left_ms > 0
        waits = bisect_left(gates, end_ms) < bisect_right(gates, coming.start_ms)
        if coming.start_ms > end_ms and not waits:
            yield work_ms, coming.start_ms - end_ms, estimated
        if coming.start_ms > end_ms or waits:
            work_ms, estimated = 0, False


def _hands_over(effort: Effort) -> bool:
    return effort.exercise is not None and effort.exercise.hands_over
