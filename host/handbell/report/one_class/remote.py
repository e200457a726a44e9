"""What a remote did in a class, and which boxes did not follow it, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from handbell.analysis.past.steps import ALONE, LATE, MISSED, Astray
from handbell.base.times import span_of, time_of, whole_clock
from handbell.base.words import listed
from handbell.store.logs.courses import Course
from handbell.store.logs.deeds import LEFT, NEXT, ON, PAUSE, START, STAY, STOP, Deed
from handbell.store.logs.timelines import Timeline

_NAMES = {
    START: "the start",
    PAUSE: "the pause",
    STAY: "the pause",
    ON: "the word to go on",
    LEFT: "the word to go on",
    NEXT: "the next block",
    STOP: "the stop",
}


@dataclass(frozen=True)
class RemoteLine:
    """One thing that a remote did; ``utc_ms`` None: no box had a clock.

    ``kind`` is "start", "pause", "left-gate", "next" or "stop". ``lasted_ms`` is how long a pause
    was, or the stand at the gate that was left; None where that is not known.
    """

    kind: str
    utc_ms: int | None
    class_ms: int
    lasted_ms: int | None
    sentence: str


def lines_of(deeds: Sequence[Deed], timelines: Sequence[Timeline]) -> list[RemoteLine]:
    """Return a line for each act that a coach should read of; a pause's has its end, too."""
    return [
        RemoteLine(d.kind, d.utc_ms, d.class_ms, d.lasted_ms, _line(d, timelines))
        for d in deeds
        if d.kind not in (STAY, ON)
    ]


def _line(deed: Deed, timelines: Sequence[Timeline]) -> str:
    at = _when(deed)
    if deed.kind == START:
        return f"Started{' anew' if deed.again else ''} {at} by the remote."
    if deed.kind == STOP:
        return f"Stopped {at} by the remote."
    if deed.kind == NEXT:
        return f"Next block {at} (by the remote)."
    if deed.kind == LEFT:
        gate = gate_of(timelines[0], deed.class_ms) if timelines else ""
        stood = "" if deed.lasted_ms is None else f", after {whole_clock(deed.lasted_ms)}"
        return f"Went on {at} from the gate {gate}{stood} (by the remote)."
    length = "" if deed.lasted_ms is None else f" for {whole_clock(deed.lasted_ms)}"
    if not deed.again and not deed.class_ms:
        return f"Start put off {at}{length} (by the remote)."
    return f"Paused {at}{length}, {_where(timelines, deed.class_ms)} (by the remote)."


def _when(deed: Deed) -> str:
    if deed.utc_ms is None:
        return f"at {whole_clock(deed.class_ms)} of the class"
    return time_of(deed.utc_ms * 1000)


def _where(timelines: Sequence[Timeline], class_ms: int) -> str:
    """Say where in the plan a time is; what each box plays there may differ."""
    windows = [w for timeline in timelines for w in timeline.windows.values()]
    here = [w for w in windows if w.start_ms < class_ms < w.end_ms]
    before = [w for w in windows if w.end_ms <= class_ms]
    if not here and not before:
        return "in the lead-in"
    last_ms = max((w.end_ms for w in before), default=0)
    some = here or [w for w in before if w.end_ms == last_ms]
    side = "in" if here else "after"
    names = {w.name for w in some}
    what = f", {names.pop()}" if len(names) == 1 else f" of block {some[0].block}"
    return f"{side} round {some[0].round}{what}"


def gate_of(timeline: Timeline, class_ms: int) -> str:
    """Return where a gate stands in the plan."""
    before = [w for w in timeline.windows.values() if w.end_ms <= class_ms]
    if before:
        return f"after block {max(before, key=lambda w: w.end_ms).block}"
    later = [w for w in timeline.windows.values() if w.start_ms >= class_ms]
    return f"before block {min(later, key=lambda w: w.start_ms).block}" if later else ""


def stray_sentences(
    strays: Sequence[Astray], deeds: Sequence[Deed], labels: Mapping[int, str]
) -> list[str]:
    """Return a sentence for each time that a box was elsewhere than the remote had the class."""
    by_number = {deed.number: deed for deed in deeds}
    return [_stray(one, by_number, labels[one.run]) for one in strays]


def _stray(one: Astray, deeds: Mapping[int, Deed], label: str) -> str:
    length = span_of(one.until_ms - one.since_ms)
    deed = deeds.get(one.number)
    what = f"{_NAMES[deed.kind]} {_at(deed)}" if deed else ""
    if one.how == LATE:
        return f"{label} took {what} {length} late."
    if one.how == MISSED:
        return f"{label} missed {what} and was out of step for {length}."
    dated = any(deed.utc_ms is not None for deed in deeds.values())
    since = time_of(one.since_ms * 1000) if dated else f"{whole_clock(one.class_ms)} of the class"
    verb = "went on alone" if one.how == ALONE else "was not where the others were"
    return f"{label} {verb} from {since} on, for {length}."


def _at(deed: Deed) -> str:
    return _when(deed) if deed.utc_ms is None else f"at {_when(deed)}"


def blind_missed(course: Course, deeds: Sequence[Deed], label: str) -> list[str]:
    """Say which acts a box without a clock took none of, if it took a later one."""
    took = {act.number for act in course.acts}
    some = [d for d in deeds if d.number not in took and d.number < max(took, default=0)]
    if not some:
        return []
    return [f"{label} missed {listed(f'{_NAMES[d.kind]} {_at(d)}' for d in some)}."]
