"""Whether the boxes of a class played it at the same time, and where they parted.

A box that takes another mark of the grid at a start or a gate is behind by whole steps of it, and
one that waits alone by as long as it waited. Each is told by the box's own clock: what the clocks
were off by comes on top and is measured apart (``store.skews``). Where a remote led, ``class_ms``
comes again and jumps, so there the boxes are held against each other at the same UTC.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, replace
from itertools import pairwise

from handbell.store.logs.courses import At, Course
from handbell.store.logs.deeds import called_off
from handbell.store.logs.moments import Moment

SAME_MS = 2  # the journal tells whole ms, each may be one off
# Where a remote led: boxes do the same at the same moment, but tell it by clocks that differ.
# Our own, no source; a box may be armed with a clock that is off by 20 ms, and drifts in class.
WORD_MS = 250
NEVER = 1 << 62

MISSED, LATE, ALONE, ASTRAY = "missed", "late", "alone", "astray"


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


@dataclass(frozen=True)
class Astray:
    """A box that was not where the remote had the class, from ``since_ms`` (UTC) on.

    It ``missed`` the act ``number``, or took it late; or it went on alone, or (``astray``) was
    elsewhere though it had heard all. At ``until_ms`` it was with the others, or one of both was
    through. ``class_ms``: of the others.
    """

    run: int
    how: str
    number: int
    since_ms: int
    until_ms: int
    class_ms: int


def strays(courses: Mapping[int, Course], slot_ms: int) -> list[Astray]:
    """Return the boxes that were not where the others were of a class that a remote led, in order.

    ``courses`` are by run. Who took the newest act is where the class is, unless that act was
    called off; a box that is through with its plan is nowhere else.
    """
    told = {run: course for run, course in courses.items() if course.track}
    never = called_off(told.values())
    times = {at.utc_ms for course in told.values() for at in course.track}
    for course in told.values():
        ends = course.end_utc_ms, course.over_utc_ms(slot_ms)
        times |= {utc_ms for utc_ms in ends if utc_ms is not None}
    found: list[Astray] = []
    since: dict[int, Astray] = {}
    end_ms = max(times, default=0)
    for from_ms, to_ms in pairwise([*sorted(times), NEVER]):
        if to_ms - from_ms <= WORD_MS:
            continue
        off = _off(told, never, from_ms, slot_ms)
        ready = {run for run in since if (at := told[run].at(from_ms)) and at.ready}
        for run in since.keys() - off.keys() - ready:
            found.append(replace(since.pop(run), until_ms=from_ms))
        for run, stray in off.items():
            since.setdefault(run, stray)
    found += [replace(one, until_ms=end_ms) for one in since.values() if one.since_ms < end_ms]
    return sorted(found, key=lambda one: (one.since_ms, one.run))


def _off(
    told: Mapping[int, Course], never: Set[int], utc_ms: int, slot_ms: int
) -> dict[int, Astray]:
    """Return the boxes that are elsewhere at a time; acts that ``never`` came lead nowhere."""
    there = {run: at for run, course in told.items() if (at := _there(course, utc_ms, slot_ms))}
    led = [at for at in there.values() if at.act not in never]
    off = {run for run, at in there.items() if at.act in never}
    newest = max((at.act for at in led), default=0)
    at_ms = 0
    if led:
        leaders = [at for at in led if at.act == newest]
        most = max(
            leaders, key=lambda at: (not at.alone, sum(_near(at, o, utc_ms) for o in leaders))
        )
        far = {run for run, at in there.items() if not _near(at, most, utc_ms)}
        off = far if newest else off & far
        at_ms = most.class_ms_at(utc_ms)
    if newest:
        late = {run for run, course in told.items() if utc_ms < course.track[0].utc_ms}
        off |= {run for run in late if not told[run].put_in}  # it was not there yet
    return {run: _stray(run, told, never, utc_ms, at_ms) for run in off}


def _there(course: Course, utc_ms: int, slot_ms: int) -> At | None:
    """Return where a box is, None where that is not to be compared."""
    at = course.at(utc_ms)
    if at is None or at.ready or (at.runs and at.class_ms_at(utc_ms) >= slot_ms):
        return None
    gone = course.end_utc_ms is not None and utc_ms >= course.end_utc_ms and not at.over
    return None if gone else at


def _near(one: At, other: At, utc_ms: int) -> bool:
    apart_ms = one.class_ms_at(utc_ms) - other.class_ms_at(utc_ms)
    return (one.runs, one.over) == (other.runs, other.over) and abs(apart_ms) <= WORD_MS


def _stray(
    run: int, told: Mapping[int, Course], never: Set[int], utc_ms: int, class_ms: int
) -> Astray:
    """Say by what a box came to be elsewhere: the first act that it lacked by then."""
    at = told[run].at(utc_ms)
    have = at.act if at else 0
    said = {
        act.number
        for course in told.values()
        for act in course.acts
        if act.number > have and act.utc_ms is not None and act.utc_ms <= utc_ms
    } - never
    if not said:
        how = ALONE if at is not None and at.alone else ASTRAY
        return Astray(run, how, have, utc_ms, utc_ms, class_ms)
    number = min(said)
    took = any(act.number == number for act in told[run].acts)
    return Astray(run, LATE if took else MISSED, number, utc_ms, utc_ms, class_ms)
