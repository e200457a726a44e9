"""Whether the boxes played the class in step, in words: who parted, where and by how much."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from handbell.analysis.past.steps import (
    ALONE,
    ASTRAY,
    LATE,
    MISSED,
    BoxMoments,
    Parting,
    partings,
    strays,
    stuck,
)
from handbell.base.times import span_of, whole_clock
from handbell.base.words import few, listed
from handbell.store.logs.courses import Course, aligned, course_of
from handbell.store.logs.deeds import Deed, called_off, deeds_of
from handbell.store.logs.moments import GATE, JOINED, START, WAIT, moments_of
from handbell.store.logs.outages import Record
from handbell.store.results.records import ClassRecord, RunRow
from handbell_core import journal as j
from handbell_core.agreement import OVER

from .odd import labels_of
from .remote import RemoteLine, blind_missed, gate_of, lines_of, stray_sentences

LABELS_SHOWN = 4
STRAYED = (MISSED, LATE, ALONE, ASTRAY)


@dataclass(frozen=True)
class Behind:
    """By how much one box was behind most of the others from a moment on; below 0: ahead."""

    station: int
    label: str
    ms: int


@dataclass(frozen=True)
class Step:
    """Where boxes parted or met again. ``kind`` is "start", "gate", "wait" or "joined".

    ``boxes`` are those that were not with most of the others from there on. Where a remote led it
    is one box that "missed" an act, took it "late", went on "alone" or was "astray" otherwise;
    ``lasted_ms`` is how long it was out of step then, None for other steps.
    """

    kind: str
    class_ms: int
    apart_ms: int
    boxes: tuple[Behind, ...]
    sentence: str
    lasted_ms: int | None = None


@dataclass(frozen=True)
class StepReport:
    """How the class's boxes kept step.

    ``apart_ms`` is the most that any two were apart. ``unknown`` are sentences on boxes that can't
    be compared. ``at_start_ms`` and ``at_end_ms`` say by run how much each was behind. ``remote``
    is what a remote did, in order; ``lasted_ms`` how long a class that it led was by the clock,
    stands included, None where that is not known. It ended the runs ``ended`` itself.
    """

    apart_ms: int
    steps: tuple[Step, ...]
    unknown: tuple[str, ...]
    at_start_ms: Mapping[int, int]
    at_end_ms: Mapping[int, int]
    remote: tuple[RemoteLine, ...] = ()
    lasted_ms: int | None = None
    ended: tuple[int, ...] = ()

    @property
    def in_step(self) -> bool:
        """Whether all boxes that can be compared played the class at the same time throughout."""
        return not self.apart_ms and not self.strayed

    @property
    def strayed(self) -> tuple[Step, ...]:
        """The boxes that did not follow a remote, each time."""
        return tuple(step for step in self.steps if step.kind in STRAYED)

    @property
    def led(self) -> bool:
        """Whether a remote led the class."""
        return bool(self.remote)

    @property
    def sentences(self) -> list[str]:
        """All that there is to say."""
        return [*(step.sentence for step in self.steps), *self.unknown]

    @property
    def headline(self) -> str:
        """What of it belongs at the top of the report, "" if nothing does."""
        if self.in_step:
            return ""
        if not self.apart_ms:
            stations = {box.label for step in self.strayed for box in step.boxes}
            who = "One box" if len(stations) == 1 else f"{len(stations)} boxes"
            return f"{who} did not follow the remote all the time: see what is odd."
        return f"Not all boxes were in step: up to {span_of(self.apart_ms)} apart, see what is odd."


def step_report(record: ClassRecord, told: Mapping[int, Sequence[Record]]) -> StepReport:
    """Compare the boxes of a class by the records of their logs, by run."""
    runs = {run.id: run for run in record.runs}
    courses = aligned({run.id: course_of(told.get(run.id, ())) for run in record.runs})
    deeds = deeds_of(courses.values())
    boxes = [_moments(run, told.get(run.id, ()), courses[run.id]) for run in record.runs]
    found = partings(boxes)
    labels = labels_of(record)
    slot_ms = max((run.timeline.slot_ms for run in record.runs), default=0)
    steps = [_step(one, runs, labels) for one in found]
    steps += _strayed(courses, slot_ms, deeds, runs, labels)
    starts = [one for one in found if one.kind == START and one.class_ms == 0]
    return StepReport(
        apart_ms=max((one.apart_ms for one in found), default=0),
        steps=tuple(steps),
        unknown=tuple(_unknown(boxes, runs, labels, courses, deeds)),
        at_start_ms=starts[0].behind_ms if starts else {},
        at_end_ms=found[-1].behind_ms if found and not deeds else {},
        remote=tuple(lines_of(deeds, [run.timeline for run in record.runs])),
        lasted_ms=_lasted_ms(courses, slot_ms, deeds[-1].number) if deeds else None,
        ended=tuple(
            run for run, course in courses.items() if any(a.what == OVER for a in course.acts)
        ),
    )


def _moments(run: RunRow, told: Sequence[Record], course: Course) -> BoxMoments:
    """Return a run's moments up to the first act of a remote: from there on it was led."""
    until = next((n for n, record in enumerate(told) if record[0] == j.ACT), len(told))
    end_ms = max(0, course.acts[0].was_ms) if course.acts else run.end_class_ms
    return BoxMoments(run.id, tuple(moments_of(told[:until])), end_ms)


def _strayed(
    courses: Mapping[int, Course],
    slot_ms: int,
    deeds: Sequence[Deed],
    runs: Mapping[int, RunRow],
    labels: Mapping[int, str],
) -> list[Step]:
    """Return a step for each time that a box did not follow the remote."""
    found = strays(courses, slot_ms)
    steps = []
    for stray, sentence in zip(found, stray_sentences(found, deeds, labels), strict=True):
        lasted_ms = stray.until_ms - stray.since_ms
        box = Behind(runs[stray.run].station, labels[stray.run], 0)
        steps.append(Step(stray.how, stray.class_ms, 0, (box,), sentence, lasted_ms))
    return steps


def _lasted_ms(courses: Mapping[int, Course], slot_ms: int, last: int) -> int | None:
    """Return how long a class was by the clock, ratings left out, None where that is not known.

    It was over as the boxes have it that took the ``last`` act, and began with none called off.
    """
    never = called_off(courses.values())
    begun = [ms for c in courses.values() if (ms := c.begun_utc_ms(never)) is not None]
    some = [c for c in courses.values() if c.acts and c.acts[-1].number == last]
    over = [ms for c in some if (ms := c.over_utc_ms(slot_ms)) is not None]
    return max(over) - min(begun) if begun and over else None


def _step(one: Parting, runs: Mapping[int, RunRow], labels: Mapping[int, str]) -> Step:
    off = tuple(
        Behind(runs[run].station, labels[run], ms) for run, ms in one.behind_ms.items() if ms
    )
    return Step(one.kind, one.class_ms, one.apart_ms, off, _sentence(one, runs, labels))


def _sentence(one: Parting, runs: Mapping[int, RunRow], labels: Mapping[int, str]) -> str:
    at = f"{whole_clock(one.class_ms)} of the class"
    if one.kind == WAIT:
        who = _labels(one.there, labels)
        stood = max((ms for ms in one.there.values() if ms is not None), default=None)
        alone = " alone" if len(one.there) == 1 else ""
        length = "" if stood is None else f" for {span_of(stood)}"
        then = _groups(one, labels, "went on") if one.apart_ms else "Then all were in step again."
        return f"{who} waited{alone}{length} at {at}. {then}"
    gate = gate_of(runs[next(iter(one.there))].timeline, one.class_ms)
    if not one.apart_ms:
        where = f"the gate {gate}" if one.kind == GATE else at
        return f"From {where} on all boxes were in step again."
    if one.kind == JOINED:
        return _groups(one, labels, f"went on at {at}")
    return _groups(one, labels, "started" if one.kind == START else f"went on from the gate {gate}")


def _groups(one: Parting, labels: Mapping[int, str], verb: str) -> str:
    """Say who did it with whom, and by how much apart."""
    by_ms: dict[int, list[int]] = {}
    for run, ms in one.behind_ms.items():
        by_ms.setdefault(ms, []).append(run)
    usual = by_ms.pop(0)
    if len(by_ms) == 1:
        ((ms, some),) = by_ms.items()
        others = "the others" if len(usual) > 1 else _labels(usual, labels)
        if one.kind == WAIT:
            side = "behind" if ms > 0 else "ahead of"
            return f"From there on {_labels(some, labels)} ran {span_of(abs(ms))} {side} {others}."
        side = "after" if ms > 0 else "before"
        comma = "" if one.kind == START else ","
        return f"{_labels(some, labels)} {verb}{comma} {span_of(abs(ms))} {side} {others}."
    by_ms[0] = usual
    first_ms, *later = sorted(by_ms)
    said = [f"{_labels(by_ms[first_ms], labels)} first"]
    said += [f"{_labels(by_ms[ms], labels)} {span_of(ms - first_ms)} later" for ms in later]
    return f"The boxes {verb} at {len(by_ms)} different times: {'; '.join(said)}."


def _labels(some: Sequence[int] | Mapping[int, object], labels: Mapping[int, str]) -> str:
    return listed(few([labels[run] for run in some], LABELS_SHOWN))


def _unknown(
    boxes: Sequence[BoxMoments],
    runs: Mapping[int, RunRow],
    labels: Mapping[int, str],
    courses: Mapping[int, Course],
    deeds: Sequence[Deed],
) -> list[str]:
    if len(boxes) < 2:
        return []
    found = []
    for run, m in () if deeds else stuck(boxes):
        where = f"the gate {gate_of(runs[run].timeline, m.class_ms)}"
        if m.kind == WAIT:
            where = f"its wait at {whole_clock(m.class_ms)} of the class"
        found.append(f"{labels[run]} did not go on from {where}, as others did.")
    for box in boxes:
        label = labels[box.run]
        blind = [m.class_ms for m in box.moments if m.left and m.utc_ms is None]
        if runs[box.run].clock == "lost" and deeds and courses[box.run].track:
            continue  # the acts tell
        if runs[box.run].clock == "lost":
            found.append(
                f"{label} had lost its clock: whether it was in step with the others can't be told."
            )
            found += blind_missed(courses[box.run], deeds, label)
        elif blind:
            at = whole_clock(blind[0])
            found.append(
                f"{label} had lost its clock by {at} of the class: whether it was in step with "
                "the others from there on can't be told."
            )
    return found
