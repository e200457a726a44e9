"""What a remote did to a class: each act once, as the boxes took it that heard it first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace

from handbell_core.acts import LEAD_MS
from handbell_core.agreement import OVER, RUNS, STANDS
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
    """Return what was done, in order; no act that was called off before it came."""
    courses = list(courses)
    dated = any(course.dated and course.track for course in courses)
    off = called_off(courses)
    said = _by_number(courses, off)
    acts = [_as_told(said[number]) for number in sorted(said) if number not in off]
    deeds = [_deed(act, acts[n + 1 :]) for n, act in enumerate(acts)]
    return deeds if dated else [replace(deed, utc_ms=None) for deed in deeds]


def called_off(courses: Iterable[Course]) -> set[int]:
    """Return the numbers of acts that only those took who had not heard of the next one by then.

    A start, or another word to run, was put off or meant otherwise before it came, so most boxes
    never did it, and the class was not there.
    """
    courses = list(courses)
    said = _by_number(courses)
    return {number for number in said if _was_called_off(number, said, courses)}


def _was_called_off(
    number: int, said: Mapping[int, Sequence[Act]], courses: Sequence[Course]
) -> bool:
    later = min((other for other in said if other > number), default=None)
    if later is None:
        return False
    one, newer = said[number][0], said[later][0]
    if not one.what == newer.what == RUNS or one.class_ms > newer.class_ms:
        return False
    took = [{act.number for act in course.acts} for course in courses]
    if not any(later in numbers and number not in numbers for numbers in took):
        return False
    if one.class_ms == newer.class_ms:
        return True  # in force, a word is said again from where the class has got to
    # What leads elsewhere is said so long ahead; who said it after the first one came went by that.
    between_ms = _between(one.utc_ms, newer.utc_ms)
    return between_ms is not None and between_ms < LEAD_MS


def _by_number(courses: Iterable[Course], off: Set[int] = frozenset()) -> dict[int, list[Act]]:
    """Return each act as boxes took it, who took it first leading.

    Who came to it by one that was called off (``off``) is heard where nobody else took it.
    """
    said: dict[int, list[Act]] = {}
    wild: dict[int, list[Act]] = {}
    for course in courses:
        before = 0
        for act in course.acts:
            (wild if before in off else said).setdefault(act.number, []).append(act)
            before = act.number
    told = wild | said
    return {
        number: sorted(some, key=lambda act: (act.utc_ms is None, act.utc_ms or 0))
        for number, some in told.items()
    }


def _as_told(some: Sequence[Act]) -> Act:
    """Return an act as who took it first has it, but for what the class did till then.

    That tells who was in class, and who had stood rather than getting ready for a word to run.
    """
    first = some[0]
    best = min(some, key=lambda act: (act.was_ms < 0, act.what == RUNS and not _stood(act)))
    return replace(best, utc_ms=first.utc_ms, class_ms=first.class_ms)


def _stood(act: Act) -> bool:
    return act.stood not in ("", READY)


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
    stood = _stood(act)
    if act.what == STANDS:
        stays = act.class_ms == act.was_ms if act.begun else not act.changed
        return STAY if stood and stays else PAUSE
    if not act.begun or not act.class_ms:
        return START
    if stood and act.class_ms - act.was_ms < LEFT_LEAST_MS:
        return LEFT if act.stood == GATE else ON
    return NEXT
