"""The bytes of each box's timeline: a track's spans, each with the people who are there."""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator

from handbell.compile.expand import Schedule, Stretch
from handbell.compile.layouts import Floor, Seat
from handbell.compile.timeline_writer import Writer, form
from handbell.compile.tracks import WHAT, Task, Texts, Tracks
from handbell.plan.model import Plan
from handbell_core import timeline as t

RATING_MS = 30_000

_WHO = struct.Struct(form("who", "bib"))  # of a span, what follows `tracks.WHAT`
_LAST = struct.Struct(form("flags", "own_at"))
_FLAGS = [_LAST.pack(flags, 0, 0) for flags in range(8)]


class Timelines:
    """Writes the timelines of one class."""

    def __init__(self, plan: Plan, schedule: Schedule, floor: Floor) -> None:
        self._plan = plan
        self._schedule = schedule
        self._floor = floor
        self._scaled = any(e.scaled for block in plan.blocks for e in block.exercises)
        self._texts = Texts(plan, floor)
        self._tracks = Tracks(plan, schedule, floor, self._texts)

    def flags(self, track: int) -> list[int]:
        """Return the flags of a track's spans, in order."""
        return self._tracks.track(track).flags

    def box(self, box: int) -> bytes:
        """Return the timeline of a box, from 0."""
        ratings = list(self._ratings(box))
        owns: list[tuple[int, Task]] = []
        spans = list(self._spans(box, owns))
        head = self._head(box, len(spans) + len(ratings))
        head.own_tasks = len(owns)
        out = io.BytesIO()
        label = self._plan.label(box)
        writer = Writer(out.write, head, self._texts.table(self._plan.title, label))
        writer.packed(b"".join(spans + ratings), head.spans)
        for slot, task in owns:
            writer.own(slot, task[:5])
        writer.finish()
        return out.getvalue()

    def _head(self, box: int, spans: int) -> t.Head:
        plan, schedule = self._plan, self._schedule
        head = t.Head()
        head.flags = t.SILENT if plan.silent else 0
        head.spans, head.windows = spans, schedule.windows
        head.grid_s, head.count_s = plan.grid_s, plan.count_s
        head.slot_ms, head.total_ms = schedule.slot_ms, schedule.total_ms
        head.station, head.buttons = box + 1, plan.buttons
        head.plan = plan.digest
        return head

    def _spans(self, box: int, owns: list[tuple[int, Task]]) -> Iterator[bytes]:
        number = self._floor.track(box)
        track = self._tracks.track(number)
        seats: dict[tuple[int, int, int], bytes] = {}
        who = b""
        for s, what, flags in zip(self._schedule.stretches, track.what, track.flags, strict=True):
            if not flags & t.TAKES_TALLY:  # else whoever was at the window enters it
                shown = (s.at_block, s.at_step, s.turn)
                if shown not in seats:
                    seats[shown] = self._who(self._floor.seat(box, *shown))
                who = seats[shown]
            mine = self._owns(box, number, s) if self._scaled and s.kind == t.WINDOW else []
            yield what + who + (_LAST.pack(flags, len(mine), len(owns)) if mine else _FLAGS[flags])
            owns += mine

    def _owns(self, box: int, track: int, s: Stretch) -> list[tuple[int, Task]]:
        """Return the own tasks of those whose turn a window is, by slot."""
        seat = self._floor.seat(box, s.at_block, s.at_step, s.turn)
        tasks = (self._tracks.own_task(track, s, bib) for bib in seat.bibs)
        return [(slot, task) for slot, task in enumerate(tasks) if task is not None]

    def _who(self, seat: Seat) -> bytes:
        bibs = (*seat.bibs, 0, 0, 0, 0)[: t.SLOTS]
        return _WHO.pack(self._texts.index(seat.group), *bibs)

    def _ratings(self, box: int) -> Iterator[bytes]:
        """Yield a span for each set of bibs whose last window is at the box."""
        if not self._plan.rate:
            return
        nothing = (0, 0, 0, 0, 0, t.NO_TEXT, t.NO_TEXT)
        what = WHAT.pack(t.RATING, 0, 0, 1, self._schedule.slot_ms, RATING_MS, *nothing)
        for groups in self._floor.last(box):
            for bibs in self._floor.sets(groups):
                yield what + self._who(Seat(self._floor.name(groups), bibs)) + _FLAGS[0]
