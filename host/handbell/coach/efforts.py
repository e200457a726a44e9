"""What each person does in a class, window by window."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from handbell.compile.layouts import Floor
from handbell_core.timeline import WINDOW

if TYPE_CHECKING:
    from handbell.compile import CompiledClass
    from handbell.plan.model import Exercise, Plan


class Effort(NamedTuple):
    """A person's window; ``exercise`` is None while waiting."""

    exercise: Exercise | None
    round: int
    start_ms: int
    duration_ms: int


def ways(built: CompiledClass) -> Iterator[tuple[tuple[str, ...], list[Effort]]]:
    """Yield the windows in order, with the groups (without groups the stations) that have them.

    In lanes those that do the same are together; in a rotation each group is by itself.
    """
    plan, floor = built.plan, Floor(built.plan)
    windows = [s for s in built.schedule.stretches if s.kind == WINDOW]
    names = [group.name for group in plan.groups] or [box.label for box in built.timelines]
    together: dict[int, list[int]] = {}
    for n in range(len(names)):
        together.setdefault(n if plan.is_rotation else floor.track(n), []).append(n)
    for first, same in together.items():
        here: dict[tuple[int, int], Exercise | None] = {}
        efforts = []
        for s in windows:
            key = (s.block - 1, s.step)
            if key not in here:
                here[key] = _exercise(plan, floor, first, *key)
            efforts.append(Effort(here[key], s.round, s.start_ms, s.duration_ms))
        yield tuple(names[n] for n in same), efforts


def _exercise(plan: Plan, floor: Floor, n: int, block: int, step: int) -> Exercise | None:
    """Return what a group or lane does in a step, None while it waits."""
    if not plan.is_rotation:
        return plan.blocks[block].exercises[floor.exercise(floor.track(n), block, step)]
    for box in range(floor.boxes):
        if plan.groups[n] in floor.groups(box, block, step):
            return plan.blocks[block].exercises[floor.exercise(box, block, step)]
    return None
