"""What happens on a track, span by span, without who is there: shared by all boxes that play it."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import NamedTuple

from handbell.compile.expand import Schedule, Stretch
from handbell.compile.layouts import Floor
from handbell.compile.timeline_writer import form
from handbell.plan.model import Exercise, Plan, for_bib
from handbell.plan.texts import drawable
from handbell_core import timeline as t

WHAT = struct.Struct(form("kind", "next"))  # a span without who is there
RULES = {
    "none": t.TAP_NONE,
    "each": t.TAP_EACH,
    "every": t.TAP_EVERY,
    "finish": t.TAP_FINISH,
    "tally": t.TAP_TALLY,
    "drop": t.TAP_DROP,
}


class Task(NamedTuple):
    """What a window asks for, in the format's numbers."""

    ask: int
    tap: int
    every: int
    goal: int
    name: int
    flags: int


class Track(NamedTuple):
    """Each span's first 26 bytes, and its flags."""

    what: list[bytes]
    flags: list[int]


class Texts:
    """The string table: the title, the label, then each text of the class once."""

    def __init__(self, plan: Plan, floor: Floor) -> None:
        self._strings: list[bytes] = []
        self._index: dict[str, int] = {"": t.NO_TEXT}
        for text in _all_texts(plan, floor):
            if text not in self._index:
                self._index[text] = t.STATION_LABEL + 1 + len(self._strings)
                self._strings.append(latin(text))

    def index(self, text: str) -> int:
        """Return a text's index; NO_TEXT for none."""
        return self._index[text]

    def table(self, title: str, label: str) -> list[bytes]:
        """Return the strings of one box."""
        return [latin(title), latin(label), *self._strings]


class Tracks:
    """Packs the tracks of one class."""

    def __init__(self, plan: Plan, schedule: Schedule, floor: Floor, texts: Texts) -> None:
        self._plan = plan
        self._schedule = schedule
        self._floor = floor
        self._texts = texts
        self._tasks: dict[tuple[int, int, int], Task] = {}
        self._packed: dict[int, Track] = {}

    def track(self, number: int) -> Track:
        """Return a track; packed once."""
        if number not in self._packed:
            self._packed[number] = self._pack(number)
        return self._packed[number]

    def _pack(self, number: int) -> Track:
        stretches = self._schedule.stretches
        what = [b""] * len(stretches)
        flags = [0] * len(stretches)
        coming = t.NO_TEXT
        for n in range(len(stretches) - 1, -1, -1):
            s = stretches[n]
            item = self._floor.exercise(number, s.block - 1, s.step) + 1 if s.block else 0
            if s.kind == t.WINDOW:
                task = self._task(s, item)
                flags[n] = task.flags
                if s.window == self._schedule.windows:
                    flags[n] |= t.LAST_WINDOW
                if task.tap == t.TAP_TALLY:
                    flags[n + 1] |= t.TAKES_TALLY
            else:
                task = Task(t.ASK_NONE, t.TAP_NONE, 1, 0, self._texts.index(s.name), 0)
            ask, tap, every, goal, name, _ = task
            what[n] = WHAT.pack(
                s.kind,
                ask,
                tap,
                every,
                s.start_ms,
                s.duration_ms,
                s.block,
                s.round,
                item,
                s.window,
                goal,
                name,
                coming,
            )
            if name != t.NO_TEXT:
                coming = name
        return Track(what, flags)

    def _task(self, s: Stretch, item: int) -> Task:
        key = (s.block, item, s.round)
        if key not in self._tasks:
            exercise = self._plan.blocks[s.block - 1].exercises[item - 1]
            self._tasks[key] = self._task_of(exercise, s.round)
        return self._tasks[key]

    def _task_of(self, exercise: Exercise, round_: int) -> Task:
        ask, goal = asked(exercise, round_)
        return Task(
            ask,
            RULES[exercise.tap.rule],
            exercise.tap.every,
            goal,
            self._texts.index(exercise.name),
            t.BOTH_SIDES if exercise.both_sides else 0,
        )

    def own_task(self, number: int, s: Stretch, bib: int) -> Task | None:
        """Return what a bib is asked for in a window instead of what the others are."""
        item = self._floor.exercise(number, s.block - 1, s.step)
        exercise = self._plan.blocks[s.block - 1].exercises[item]
        if not exercise.scaled:
            return None
        own = for_bib(exercise, bib)
        return None if own is exercise else self._task_of(own, s.round)


def asked(exercise: Exercise, round_: int) -> tuple[int, int]:
    """Return what a window asks for, and its target or goal in a round (0: none)."""
    if exercise.hold:
        return t.ASK_HOLD, 0
    if exercise.reps is not None:
        return t.ASK_TARGET, exercise.reps.at(round_)
    return t.ASK_OPEN, exercise.goal.at(round_) if exercise.goal is not None else 0


def latin(text: str) -> bytes:
    """Return a text as a box draws it."""
    return drawable(text).encode("latin-1")


def _all_texts(plan: Plan, floor: Floor) -> Iterator[str]:
    yield from (part.name for part in plan.warm_up)
    exercises = [exercise for block in plan.blocks for exercise in block.exercises]
    yield from (exercise.name for exercise in exercises)
    yield from (own.name for exercise in exercises for own in exercise.scaled if own.name)
    yield from (part.name for part in plan.cool_down)
    yield from (floor.name(groups) for groups in floor.together())
