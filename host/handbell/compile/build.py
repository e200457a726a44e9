"""From a plan to everything its class needs."""

from __future__ import annotations

import functools
from dataclasses import dataclass

from handbell.base.digest import short_digest
from handbell.base.errors import PlanError
from handbell.compile.asked import never_asked
from handbell.compile.gaps import require_gaps
from handbell.compile.schedule import Schedule, resolve
from handbell.compile.timelines import REMOTE, REMOTE_LABEL, Timelines
from handbell.compile.timetable import Row, rows
from handbell.plan.model import Plan
from handbell.plan.remarks import remarks
from handbell.plan.texts import drawable

SLOT_MOST_H = 96  # a box's run time ends at 2^29 ms, 149 h, waits at gates included


@dataclass(frozen=True)
class BoxTimeline:
    """What one box plays; ``digest`` is 12 bytes, ``bibs`` everybody who is ever at it."""

    station: int
    label: str
    data: bytes
    digest: bytes
    bibs: list[int]


@dataclass(frozen=True)
class Totals:
    """A class's sums: times in ms, a gate as 0; ``windows`` those of each box."""

    total_ms: int
    slot_ms: int
    windows: int
    boxes: int
    work_ms: int
    rest_ms: int


@dataclass
class CompiledClass:
    """A compiled plan."""

    plan: Plan
    schedule: Schedule
    timelines: list[BoxTimeline]

    @property
    def buttons(self) -> int:
        """How many buttons each box uses."""
        return self.plan.buttons

    @property
    def totals(self) -> Totals:
        """The class's sums."""
        s = self.schedule.course
        return Totals(
            s.total_ms,
            s.slot_ms,
            s.windows,
            len(self.timelines),
            s.work_ms,
            s.total_ms - s.work_ms,
        )

    @functools.cached_property
    def remote(self) -> BoxTimeline:
        """What a remote plays, which counts nobody."""
        data = Timelines(self.schedule).remote()
        return BoxTimeline(REMOTE, REMOTE_LABEL, data, short_digest(data), [])

    @functools.cached_property
    def warnings(self) -> list[str]:
        """What is worth knowing before class."""
        return [*remarks(self.plan), *never_asked(self.schedule)]

    @functools.cached_property
    def timetable(self) -> list[Row]:
        """The class as a table for people."""
        return rows(self.schedule)


def build(plan: Plan) -> CompiledClass:
    """Compile a plan; raises PlanError when no box could play it as it must be played."""
    schedule = resolve(plan)
    hours = schedule.course.slot_ms / 3_600_000
    if hours > SLOT_MOST_H:
        raise PlanError(
            plan.path, [f"the class takes {hours:.1f} hours; take rounds out, to {SLOT_MOST_H}"]
        )
    require_gaps(schedule)
    timelines = Timelines(schedule)
    boxes = []
    for station in range(schedule.boxes):
        data = timelines.box(station)
        label = drawable(plan.label(station))
        bibs = schedule.bibs(station)
        boxes.append(BoxTimeline(station + 1, label, data, short_digest(data), bibs))
    return CompiledClass(plan, schedule, boxes)
