"""From a plan to everything its class needs."""

from __future__ import annotations

import functools
from dataclasses import dataclass

from handbell.base.digest import short_digest
from handbell.base.errors import PlanError
from handbell.compile.expand import Schedule, Stretch, expand
from handbell.compile.gaps import Cues, crowded
from handbell.compile.layouts import Floor
from handbell.compile.timelines import Timelines
from handbell.compile.timetable import Row, rows
from handbell.plan import rules
from handbell.plan.agreement import Place
from handbell.plan.faults import sentence
from handbell.plan.model import Plan
from handbell.plan.remarks import remarks
from handbell.plan.texts import drawable
from handbell_core.timeline import KINDS, WINDOW

SLOT_MOST_H = 96  # a box's run time ends at 2^29 ms, 149 h, waits at gates included
FAULTS_MOST = 8


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
    warnings: list[str]

    @property
    def buttons(self) -> int:
        """How many buttons each box uses."""
        return self.plan.buttons

    @property
    def totals(self) -> Totals:
        """The class's sums."""
        s = self.schedule
        return Totals(
            s.total_ms,
            s.slot_ms,
            s.windows,
            len(self.timelines),
            s.work_ms,
            s.total_ms - s.work_ms,
        )

    @functools.cached_property
    def timetable(self) -> list[Row]:
        """The class as a table for people."""
        return rows(self.plan, self.schedule.stretches)


def build(plan: Plan) -> CompiledClass:
    """Compile a plan; raises PlanError when no box could play it as it must be played."""
    missing = [sentence(*fault) for fault in rules.missing(plan)]
    if missing:
        raise PlanError(plan.path, missing)
    schedule = expand(plan)
    hours = schedule.slot_ms / 3_600_000
    if hours > SLOT_MOST_H:
        raise PlanError(
            plan.path, [f"the class takes {hours:.1f} hours; take rounds out, to {SLOT_MOST_H}"]
        )
    floor = Floor(plan)
    timelines = Timelines(plan, schedule, floor)
    _require_gaps(plan, schedule, floor, timelines)
    boxes = []
    for box in range(floor.boxes):
        data = timelines.box(box)
        digest = short_digest(data)
        label = drawable(plan.label(box))
        boxes.append(BoxTimeline(box + 1, label, data, digest, floor.bibs(box)))
    return CompiledClass(plan, schedule, boxes, remarks(plan))


def _require_gaps(plan: Plan, schedule: Schedule, floor: Floor, timelines: Timelines) -> None:
    places = _crowded(plan.count_s, schedule, floor, timelines)
    if not places:
        return
    fewer = range(plan.count_s - 1, -1, -1)
    enough = next((n for n in fewer if not _crowded(n, schedule, floor, timelines)), None)
    remedy = "lengthen the window" if enough is None else f"lower count_s to {enough}"
    fault = f"cues leave no quiet 1.5 s in every 5 s, which a box needs to store taps; {remedy}"
    faults = [sentence(place, fault) for place in places]
    if len(faults) > FAULTS_MOST:
        faults[FAULTS_MOST:] = [f"and {len(faults) - FAULTS_MOST} more places like these"]
    raise PlanError(plan.path, faults)


def _crowded(count_s: int, schedule: Schedule, floor: Floor, timelines: Timelines) -> list[Place]:
    """Return where cues leave no gaps when the last seconds are counted."""
    cues = Cues(count_s)
    seen: set[tuple[int, ...]] = set()
    places: dict[tuple[int, int, int], Place] = {}
    for track in sorted({floor.track(box) for box in range(floor.boxes)}):
        flags = timelines.flags(track)
        if tuple(flags) in seen:
            continue
        seen.add(tuple(flags))
        for s in crowded(schedule.stretches, flags, cues):
            item = floor.exercise(track, max(s.block - 1, 0), s.step)
            places.setdefault((s.block, item, s.kind), _place(s, item))
    return list(places.values())


def _place(s: Stretch, item: int) -> Place:
    if not s.block:
        return (KINDS[s.kind],)
    place = ("block", s.block - 1, f"round {s.round}", "exercise", item)
    return place if s.kind == WINDOW else (*place, KINDS[s.kind])
