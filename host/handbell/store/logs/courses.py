"""Where each box of a class that a remote led was at each time, by its own clock, and by which act.

``class_ms`` goes back and jumps there, so boxes are held against each other at the same UTC. A box
that had no other clock tells how long it was on; that is set by the acts that others took, too.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass, field, replace
from statistics import median

from sqlalchemy import func, select

from handbell.store.database import tables
from handbell.store.database.database import Database
from handbell_core import journal as j
from handbell_core.agreement import OVER, STANDS
from handbell_core.runner import AT_GATE

from .acts import Taken
from .moments import records_of_class
from .outages import Record

UTC = 0  # a clock; above it the box's own, by how often it was switched on in the log
OWN_CLOCK_MS = -2  # from there down a state's UTC is the box's own clock: so many ms below it

# Why a box stood: at a gate of the plan, since somebody there chose to wait, by the remote, or
# to be ready for an act that it had heard.
GATE, WAIT, PAUSE, READY = "gate", "wait", "pause", "ready"


@dataclass(frozen=True)
class Act:
    """An act as one box took it. ``utc_ms`` None: it had no clock, or did not tell.

    By then it had ``stood`` ("": it ran) since ``since_utc_ms``. ``begun``: it had played before.
    ``changed``: the act made it do something else; ``heard``: it knew of it in time. ``clock``
    is as in ``At``, ``since_clock`` that of ``since_utc_ms``.
    """

    number: int
    what: int
    class_ms: int
    was_ms: int
    utc_ms: int | None
    stood: str
    since_utc_ms: int | None
    begun: bool
    changed: bool = False
    heard: bool = True
    clock: int = UTC
    since_clock: int = UTC


@dataclass(frozen=True)
class At:
    """From ``utc_ms`` on a box was at ``class_ms``, and ``runs`` from there or stood.

    ``act`` is the number of the last act it had taken. ``alone``: somebody at the box let it go
    on. ``ready``: it stood since it knew of an act to come. ``clock`` is UTC, or until ``aligned``
    the place of the box's start whose own clock tells it.
    """

    utc_ms: int
    class_ms: int
    runs: bool
    act: int
    alone: bool = False
    ready: bool = False
    over: bool = False
    clock: int = UTC

    def class_ms_at(self, utc_ms: int) -> int:
        """Return where it was at a later time, if nothing happened since."""
        return self.class_ms + (utc_ms - self.utc_ms if self.runs else 0)


@dataclass
class Course:
    """One box's way through a class: the acts that it took, and where it was when.

    ``end_utc_ms`` is the last that is known of it; None where it stood by then, or had no clock.
    Not ``dated``: its times are no UTC, but right among each other and with those beside it. It was
    ``put_in`` by a host while the class was on.
    """

    acts: list[Act] = field(default_factory=list)
    track: list[At] = field(default_factory=list)
    end_utc_ms: int | None = None
    dated: bool = True
    put_in: bool = False

    @property
    def came_in(self) -> At | None:
        """Where it was first, by a clock that tells UTC; None: it had none."""
        return next((one for one in self.track if one.clock == UTC), None)

    def moved(self, by_ms: int) -> Course:
        """Return it with what its clock told in UTC later by so much."""
        ats = [replace(one, utc_ms=one.utc_ms + by_ms * (one.clock == UTC)) for one in self.track]
        end_ms = self.end_utc_ms
        return replace(self, track=ats, end_utc_ms=None if end_ms is None else end_ms + by_ms)

    def begun_utc_ms(self, never: Set[int]) -> int | None:
        """Return when the class began on it, by no act that ``never`` came; None: not known."""
        some = (one for one in self.track if one.runs and one.act not in never)
        return next((one.utc_ms - one.class_ms for one in some), None)

    def over_utc_ms(self, slot_ms: int) -> int | None:
        """Return when the class was over on it, whose plan is ``slot_ms`` long; None: not known."""
        if self.end_utc_ms is None or not self.track[-1].runs:
            return self.end_utc_ms
        last = self.track[-1]
        return min(self.end_utc_ms, last.utc_ms + max(0, slot_ms - last.class_ms))

    def at(self, utc_ms: int) -> At | None:
        """Return where it was at a time, None before it began."""
        found = None
        for one in self.track:
            if one.utc_ms > utc_ms:
                break
            found = one
        return found


def courses_of_class(store: Database, class_id: int) -> dict[int, Course]:
    """Return the way of each box of a class that a remote led, by run; nothing where none did.

    Only then the logs are read, for it takes a while.
    """
    r = tables.runs.c
    version = func.substr(r.journal, 2, 1)
    led = select(r.id).where(r.class_id == class_id, version != bytes((j.NO_ACTS,))).limit(1)
    with store.reading() as conn:
        if conn.execute(led).first() is None:
            return {}
    told = records_of_class(store, class_id)
    return aligned({run: course_of(records) for run, records in told.items()})


def aligned(courses: Mapping[int, Course]) -> dict[int, Course]:
    """Return the ways of a class's boxes, by run, all by one clock as far as that can be.

    What a box tells by its own clock is set by the acts that it has in common with the others.
    """
    dated = any(course.dated for course in courses.values())
    base = dict.fromkeys(courses, UTC)
    if not dated:  # then by the first clock of the box that tells most
        run = max(courses, key=lambda run: len(courses[run].track), default=None)
        base = {run: courses[run].track[0].clock} if run is not None and courses[run].track else {}
    told: dict[int, int] = {}
    for run, clock in base.items():
        for act in courses[run].acts:
            if act.utc_ms is not None and act.clock == clock:
                told[act.number] = min(act.utc_ms, told.get(act.number, act.utc_ms))
    return {run: _set_by(course, told, base.get(run, -1), dated) for run, course in courses.items()}


def _set_by(course: Course, told: Mapping[int, int], right: int, dated: bool) -> Course:
    """Return the way of a box by the clock that tells when acts were.

    Its clock ``right`` is that one already; what another tells that has no act in common is left
    without a time.
    """
    by_ms = {right: 0}
    for clock in {at.clock for at in course.track} - {right}:
        common = [
            (act.heard, told[act.number] - act.utc_ms)
            for act in course.acts
            if act.clock == clock and act.number in told and act.utc_ms is not None
        ]
        in_time = [ms for heard, ms in common if heard] or [ms for _, ms in common]
        if in_time:
            by_ms[clock] = int(median(in_time))

    def by(ms: int | None, clock: int) -> int | None:
        return None if ms is None or clock not in by_ms else ms + by_ms[clock]

    acts = [
        replace(
            act,
            utc_ms=by(act.utc_ms, act.clock),
            since_utc_ms=by(act.since_utc_ms, act.since_clock),
            clock=UTC,
            since_clock=UTC,
        )
        for act in course.acts
    ]
    track = [
        replace(at, utc_ms=at.utc_ms + by_ms[at.clock], clock=UTC)
        for at in course.track
        if at.clock in by_ms
    ]
    last = course.track[-1].clock if course.track else right
    end_ms = by(course.end_utc_ms, last)
    return replace(course, acts=acts, track=track, end_utc_ms=end_ms, dated=dated and bool(track))


def course_of(records: Iterable[Record]) -> Course:
    """Return the way that a log tells of, each time by the clock that its box had."""
    reader = _Reader()
    for record in records:
        reader.take(record)
    return reader.done()


class _Reader:
    """Reads a log in its order."""

    def __init__(self) -> None:
        self._found = Course(dated=False)
        self._boxes = 0
        self._stood = ""
        self._since_ms: int | None = None
        self._since_clock = UTC
        self._begun = False
        self._open = False  # the last act's instant is still to be told
        self._number = 0
        self._class_ms = 0

    def take(self, record: Record) -> None:
        """Take the next record."""
        kind, _, _, class_ms, payload = record
        if kind == j.ACT:
            self._act(Taken.of(record), heard=bool(payload[3]))
            self._class_ms = class_ms
        elif kind == j.BOX:
            self._boxes += 1
        elif kind == j.STATE:
            self._state(class_ms, *struct.unpack("<BBHq", payload))
        self._class_ms = max(self._class_ms, class_ms)

    def done(self) -> Course:
        """Return what was read."""
        found = self._found
        if found.track and (found.track[-1].runs or found.track[-1].over):
            last = found.track[-1]
            found.end_utc_ms = last.utc_ms + max(0, self._class_ms - last.class_ms) * last.runs
        return found

    def _act(self, taken: Taken, heard: bool) -> None:
        track = self._found.track
        last = track[-1] if track else None
        utc_ms, clock = None, UTC
        if last is not None and last.runs and taken.was_ms >= 0:
            utc_ms, clock = last.utc_ms + taken.was_ms - last.class_ms, last.clock
        since = self._since_ms, self._begun
        act = Act(*taken, utc_ms, self._stood, *since, False, heard, clock, self._since_clock)
        self._found.acts.append(act)
        self._open = True
        self._number = taken.number
        if taken.what == OVER and utc_ms is not None:
            at = At(utc_ms, taken.class_ms, False, taken.number, over=True, clock=clock)
            track.append(at)
        elif taken.what == STANDS and last is not None and not last.runs:
            stays = last.class_ms == taken.class_ms  # then no change of state is told
            track[-1] = replace(last, act=taken.number, ready=False) if stays else last

    def _state(self, class_ms: int, state: int, cause: int, _spare: int, told_ms: int) -> None:
        utc_ms, clock = (told_ms, UTC) if told_ms >= 0 else (None, UTC)
        if told_ms <= OWN_CLOCK_MS:
            utc_ms, clock = OWN_CLOCK_MS - told_ms, self._boxes
        self._found.dated |= told_ms >= 0
        by_act = self._open and cause == j.BY_WORD
        self._open = False
        if by_act:
            last = self._found.acts[-1]
            self._found.acts[-1] = replace(last, utc_ms=utc_ms, clock=clock, changed=True)
        before = self._found.track[-1] if self._found.track else None
        self._found.put_in |= before is None and cause == j.BY_CLOCK
        over = by_act and self._found.acts[-1].what == OVER
        runs = state != AT_GATE and not over
        if runs:
            self._stood, self._since_ms, self._begun = "", None, True
        else:
            self._stood = PAUSE if by_act else _STOOD.get(cause, GATE)
            self._since_ms = None if cause == j.BY_CLOCK else utc_ms
            self._since_clock = clock
        if utc_ms is None:
            return
        alone = runs and self._number > 0 and cause == j.BY_HAND
        stayed = by_act and self._found.acts[-1].class_ms == self._found.acts[-1].was_ms
        if before is not None and (cause == j.BY_SKIP or (stayed and runs)):
            alone = before.alone
        ready = self._stood == READY
        at = At(utc_ms, class_ms, runs, self._number, alone, ready, over, clock)
        if before is not None and before.over:
            self._found.track[-1] = at  # told after all, so not to be worked out
        else:
            self._found.track.append(at)


_STOOD = {j.BY_WAIT: WAIT, j.BY_WORD: READY}
