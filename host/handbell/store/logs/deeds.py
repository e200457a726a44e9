"""What a remote did to a class: each act once, as the boxes took it that heard it first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from handbell_core.agreement import OVER, STANDS
from handbell_core.states import LEFT_LEAST_MS

from .courses import GATE, READY, Act, Course

START, PAUSE, STAY, ON, LEFT, NEXT, STOP = (
    "start", "pause", "stay", "on", "left-gate", "next", "stop",
)  # fmt: skip


@dataclass(frozen=True)
class Deed:
    """One act: when (None: no box had a clock), and where in the class.

    ``lasted_ms`` is how long a pause was, or the stand at the gate that was left; None where it is
    not known. A "stay" changed nothing, "on" ended a pause. ``again``: it had begun before.
    """

    kind: str
    number: int
    utc_ms: int | None
    class_ms: int
    lasted_ms: int | None = None
    again: bool = False


def deeds_of(courses: Iterable[Course]) -> list[Deed]:
    """Return what was done, in order."""
    said: dict[int, Act] = {}
    courses = list(courses)
    dated = any(course.dated and course.track for course in courses)
    for course in courses:
        for act in course.acts:
            known = said.get(act.number)
            if known is None or _first(act) < _first(known):
                said[act.number] = act
    acts = [said[number] for number in sorted(said)]
    deeds = [_deed(act, acts[n + 1 :]) for n, act in enumerate(acts)]
    return deeds if dated else [replace(deed, utc_ms=None) for deed in deeds]


def _first(act: Act) -> tuple[bool, int]:
    return act.utc_ms is None, act.utc_ms or 0


def _deed(act: Act, later: Sequence[Act]) -> Deed:
    kind = _kind(act)
    lasted_ms = None
    if kind == PAUSE:
        until = next((one.utc_ms for one in later if one.what != STANDS), None)
        lasted_ms = _between(act.utc_ms, until)
    elif kind == LEFT:
        lasted_ms = _between(act.since_utc_ms, act.utc_ms)
    return Deed(kind, act.number, act.utc_ms, act.class_ms, lasted_ms, act.begun)


def _between(since_ms: int | None, until_ms: int | None) -> int | None:
    return None if since_ms is None or until_ms is None else until_ms - since_ms


def _kind(act: Act) -> str:
    if act.what == OVER:
        return STOP
    stood = act.stood not in ("", READY)
    if act.what == STANDS:
        return STAY if stood and act.class_ms == act.was_ms else PAUSE
    if not act.begun or not act.class_ms:
        return START
    if stood and act.class_ms - act.was_ms < LEFT_LEAST_MS:
        return LEFT if act.stood == GATE else ON
    return NEXT
