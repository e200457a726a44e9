"""Whether the boxes played the class in step, in words: who parted, where and by how much."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from handbell.analysis.steps import BoxMoments, Parting, partings, stuck
from handbell.base.times import span_of, whole_clock
from handbell.base.words import few, listed
from handbell.store.logs.moments import GATE, JOINED, START, WAIT, Moment
from handbell.store.logs.timelines import Timeline
from handbell.store.results.records import ClassRecord, RunRow

from .odd import labels_of

LABELS_SHOWN = 4


@dataclass(frozen=True)
class Behind:
    """By how much one box was behind most of the others from a moment on; below 0: ahead."""

    station: int
    label: str
    ms: int


@dataclass(frozen=True)
class Step:
    """Where boxes parted or met again. ``kind`` is "start", "gate", "wait" or "joined".

    ``boxes`` are those that were not with most of the others from there on.
    """

    kind: str
    class_ms: int
    apart_ms: int
    boxes: tuple[Behind, ...]
    sentence: str


@dataclass(frozen=True)
class StepReport:
    """How the class's boxes kept step.

    ``apart_ms`` is the most that any two were apart. ``unknown`` are sentences on boxes that can't
    be compared. ``at_start_ms`` and ``at_end_ms`` say by run how much each was behind.
    """

    apart_ms: int
    steps: tuple[Step, ...]
    unknown: tuple[str, ...]
    at_start_ms: Mapping[int, int]
    at_end_ms: Mapping[int, int]

    @property
    def in_step(self) -> bool:
        """Whether all boxes that can be compared played the class at the same time throughout."""
        return not self.apart_ms

    @property
    def sentences(self) -> list[str]:
        """All that there is to say."""
        return [*(step.sentence for step in self.steps), *self.unknown]

    @property
    def headline(self) -> str:
        """What of it belongs at the top of the report, "" if nothing does."""
        if self.in_step:
            return ""
        return f"Not all boxes were in step: up to {span_of(self.apart_ms)} apart, see what is odd."


def step_report(record: ClassRecord, moments: Mapping[int, Sequence[Moment]]) -> StepReport:
    """Compare the boxes of a class by their ``moments``, by run."""
    runs = {run.id: run for run in record.runs}
    boxes = [
        BoxMoments(run.id, tuple(moments.get(run.id, ())), run.end_class_ms) for run in record.runs
    ]
    found = partings(boxes)
    labels = labels_of(record)
    steps = tuple(_step(one, runs, labels) for one in found)
    starts = [one for one in found if one.kind == START and one.class_ms == 0]
    return StepReport(
        apart_ms=max((one.apart_ms for one in found), default=0),
        steps=steps,
        unknown=tuple(_unknown(boxes, runs, labels)),
        at_start_ms=starts[0].behind_ms if starts else {},
        at_end_ms=found[-1].behind_ms if found else {},
    )


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
    gate = _gate(runs[next(iter(one.there))].timeline, one.class_ms)
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


def _gate(timeline: Timeline, class_ms: int) -> str:
    """Return where a gate stands in the plan."""
    before = [w for w in timeline.windows.values() if w.end_ms <= class_ms]
    if before:
        return f"after block {max(before, key=lambda w: w.end_ms).block}"
    later = [w for w in timeline.windows.values() if w.start_ms >= class_ms]
    return f"before block {min(later, key=lambda w: w.start_ms).block}" if later else ""


def _unknown(
    boxes: Sequence[BoxMoments], runs: Mapping[int, RunRow], labels: Mapping[int, str]
) -> list[str]:
    if len(boxes) < 2:
        return []
    found = []
    for run, m in stuck(boxes):
        where = f"the gate {_gate(runs[run].timeline, m.class_ms)}"
        if m.kind == WAIT:
            where = f"its wait at {whole_clock(m.class_ms)} of the class"
        found.append(f"{labels[run]} did not go on from {where}, as others did.")
    for box in boxes:
        label = labels[box.run]
        blind = [m.class_ms for m in box.moments if m.left and m.utc_ms is None]
        if runs[box.run].clock == "lost":
            found.append(
                f"{label} had lost its clock: whether it was in step with the others can't be told."
            )
        elif blind:
            at = whole_clock(blind[0])
            found.append(
                f"{label} had lost its clock by {at} of the class: whether it was in step with "
                "the others from there on can't be told."
            )
    return found
