"""The bytes of each box's timeline, made of the rows of its station."""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from dataclasses import replace

from handbell.compile import timeline_writer as writing
from handbell.compile.expand import Stretch
from handbell.compile.schedule import Leg, Row, Schedule
from handbell.compile.tasks import Task
from handbell.plan.model import REST
from handbell.plan.texts import drawable
from handbell_core import timeline as t

_WHAT = struct.Struct(writing.form("kind", "next"))  # a span without who is there
_WHO = struct.Struct(writing.form("who", "bib"))
_LAST = struct.Struct(writing.form("flags", "own_at"))
_NOTHING = (t.ASK_NONE, t.TAP_NONE, 1, 0)
REMOTE, REMOTE_LABEL, REMOTE_BUTTONS = 0, "Remote", 4  # its station, which is none
_FLAGS = [_LAST.pack(flags, 0, 0) for flags in range(8)]


class Timelines:
    """Writes the timelines of one class; what several boxes have alike is packed once."""

    def __init__(self, schedule: Schedule) -> None:
        self._schedule = schedule
        self._texts = Texts(schedule)
        self._what: dict[tuple[int, int, int, str], bytes] = {}
        self._who: dict[tuple[str, tuple[int, ...]], bytes] = {}

    def box(self, station: int) -> bytes:
        """Return the timeline of a station, from 0."""
        spans: list[bytes] = []
        owns: list[tuple[int, Task]] = []
        legs: dict[tuple[Leg, ...], int] = {}
        rows = list(self._schedule.rows(station))
        legs_at = sum(len(row.own) for row in rows)  # behind the own tasks
        for row in rows:
            flags = self._flags_of(row)
            last = _FLAGS[flags]
            if row.own:
                last = _LAST.pack(flags, len(row.own), len(owns))
            elif row.legs:
                at = legs.setdefault(row.legs, legs_at + sum(map(len, legs)))
                last = _LAST.pack(flags | t.HAND_OVER, 0, at)
            spans.append(self._what_of(row) + self._who_of(row) + last)
            owns += row.own
        head = self._head(station + 1, len(spans), self._schedule.plan.buttons)
        head.own_tasks = len(owns) + sum(map(len, legs))
        out = io.BytesIO()
        label = self._schedule.plan.label(station)
        writer = writing.Writer(out.write, head, self._texts.table(label), bool(legs))
        writer.packed(b"".join(spans), head.spans)
        for button, task in owns:
            writer.own(button, (*task[:4], self._texts.index(task.name)))
        for cycle in legs:
            people = 1 + max(leg.place for leg in cycle)
            for leg in cycle:
                name = self._texts.index(leg.what)
                writer.leg(writing.Leg(leg.place, people, leg.bib, name, len(cycle)))
        writer.finish()
        return out.getvalue()

    def remote(self) -> bytes:
        """Return the timeline of a remote: what all do at the same time, and nobody is asked."""
        spans = []
        for s in self._schedule.stretches:
            posts = self._schedule.at(s) if s.kind == t.WINDOW else ()
            exercises = [post.exercise for post in posts]
            same = len({exercise.name for exercise in exercises}) == 1
            name = exercises[0].name if same else s.name
            row = Row(replace(s, name=name), 0, None, "", (), (), "", False)
            flags = self._last_of(s)
            if exercises and all(exercise.both_sides for exercise in exercises):
                flags |= t.BOTH_SIDES
            spans.append(self._what_of(row) + self._who_of(row) + _FLAGS[flags])
        head = self._head(REMOTE, len(spans), REMOTE_BUTTONS)
        out = io.BytesIO()
        writer = writing.Writer(out.write, head, self._texts.table(REMOTE_LABEL))
        writer.packed(b"".join(spans), head.spans)
        writer.finish()
        return out.getvalue()

    def _head(self, station: int, spans: int, buttons: int) -> t.Head:
        plan, course = self._schedule.plan, self._schedule.course
        head = t.Head()
        head.flags = t.SILENT if plan.silent else 0
        head.spans, head.windows = spans, course.windows
        head.grid_s, head.count_s = plan.grid_s, plan.count_s
        head.slot_ms, head.total_ms = course.slot_ms, course.total_ms
        head.station, head.buttons = station, buttons
        head.plan = plan.digest
        return head

    def _flags_of(self, row: Row) -> int:
        flags = t.TAKES_TALLY if row.is_tallied else 0
        if row.exercise is not None:
            flags |= t.BOTH_SIDES if row.exercise.both_sides else 0
            flags |= self._last_of(row.stretch)
        return flags

    def _last_of(self, s: Stretch) -> int:
        is_last = s.kind == t.WINDOW and s.window == self._schedule.course.windows
        return t.LAST_WINDOW if is_last else 0

    def _what_of(self, row: Row) -> bytes:
        s = row.stretch
        key = (s.start_ms, s.kind, row.item, row.coming)
        if key not in self._what:
            ask, tap, every, goal, name = row.task or (*_NOTHING, s.name)
            if row.exercise and row.exercise.hands_over:
                tap = t.TAP_NONE  # for a box that knows of no such relay
            self._what[key] = _WHAT.pack(
                s.kind,
                ask,
                tap,
                every,
                s.start_ms,
                s.duration_ms,
                s.block,
                s.round,
                row.item,
                s.window,
                goal,
                self._texts.index(name),
                self._texts.index(row.coming),
            )
        return self._what[key]

    def _who_of(self, row: Row) -> bytes:
        key = (row.who, row.bibs)
        if key not in self._who:
            bibs = (*row.bibs, 0, 0, 0, 0)[: t.SLOTS]
            self._who[key] = _WHO.pack(self._texts.index(row.who), *bibs)
        return self._who[key]


class Texts:
    """The string tables: the title, the label, then each text of the class once."""

    def __init__(self, schedule: Schedule) -> None:
        self._plan = schedule.plan
        texts = [text for text in dict.fromkeys(_all_texts(schedule)) if text]
        self._index = {text: n for n, text in enumerate(texts, t.STATION_LABEL + 1)}
        self._index[""] = t.NO_TEXT
        self._strings = [_latin(text) for text in texts]

    def index(self, text: str) -> int:
        """Return a text's index; NO_TEXT for none."""
        return self._index[text]

    def table(self, label: str) -> list[bytes]:
        """Return the strings of a station of that label."""
        own = (self._plan.title, label)
        return [*map(_latin, own), *self._strings]


def _all_texts(schedule: Schedule) -> Iterator[str]:
    plan = schedule.plan
    yield from (part.name for part in plan.opening)
    exercises = [exercise for block in plan.blocks for exercise in block.exercises]
    yield from (exercise.name for exercise in exercises)
    tables = [own for exercise in exercises for own in exercise.scaled]
    yield from (own.name for own in tables if own.name)
    yield from (REST for own in tables if own.out)
    legs = (exercise.parts for exercise in exercises if exercise.hands_over)
    yield from (part.words for parts in legs for part in parts)
    yield from (part.name for part in plan.cool_down)
    yield from schedule.names


def _latin(text: str) -> bytes:
    return drawable(text).encode("latin-1")
