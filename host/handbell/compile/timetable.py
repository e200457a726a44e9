"""The class as a table for people: when, what, and who at each station."""

from __future__ import annotations

import io
from collections.abc import Iterable
from dataclasses import dataclass

from handbell.compile.expand import Stretch
from handbell.compile.posts import Post
from handbell.compile.schedule import Schedule
from handbell.compile.tasks import RULES, asked
from handbell.plan.model import Exercise
from handbell.plan.own_tasks import Own, Tasks, by_bib, everybody, own_list, parted
from handbell_core import timeline as t

HANDS_OVER = "a tap hands over"
PRACTICE = "practice"  # to a box it is a stretch like the warm-up


class Told:
    """What most people do, and the single bibs (by their words) who do something else."""

    what: str
    own: tuple[Own[str], ...]

    @property
    def words(self) -> str:
        """All of it: ``Push-up, 10 reps (bib 8: Knee push-up, 8 reps)``."""
        return f"{self.what} ({own_list(self.own)})" if self.own else self.what


@dataclass(frozen=True)
class Cell(Told):
    """Who is at a station in a window, what they do there, and the bibs asked to tap.

    ``people`` are the bibs of everybody who is there, asked to tap or not; ``own`` is about them.
    """

    station: int
    what: str
    who: str
    people: tuple[int, ...]
    bibs: tuple[int, ...]
    own: tuple[Own[str], ...] = ()


@dataclass(frozen=True)
class Row(Told):
    """One line: ``class_ms`` when it begins, what it is, and each station in a window.

    Where stations do different things, ``what`` is the block, and ``own`` stands at the stations.
    """

    class_ms: int
    duration_ms: int
    kind: str
    what: str
    block: int
    round: int
    window: int
    stations: tuple[Cell, ...]
    own: tuple[Own[str], ...] = ()


@dataclass(frozen=True)
class BoxRow(Told):
    """One line of a single box, as it stands in its timeline."""

    class_ms: int
    duration_ms: int
    kind: str
    what: str
    block: int
    round: int
    window: int
    who: str
    bibs: tuple[int, ...]
    coming: str
    own: tuple[Own[str], ...] = ()


def rows(schedule: Schedule) -> list[Row]:
    """Return a line for each stretch of a class."""
    table = _Table(schedule)
    return [table.row(s) for s in schedule.stretches]


class _Table:
    """Makes the lines of one class, each window's words once."""

    def __init__(self, schedule: Schedule) -> None:
        self._schedule = schedule
        self._everybody = everybody(schedule.plan)
        led = [s.start_ms for s in schedule.stretches if s.kind == t.WARM_UP]
        self._practice = set(led[len(schedule.plan.warm_up) :])
        self._told: dict[tuple[int, int, int, tuple[int, ...]], Tasks[str]] = {}

    def row(self, s: Stretch) -> Row:
        told = self._what(s)
        cells = (
            tuple(self._cell(s, post) for post in self._schedule.at(s))
            if s.kind == t.WINDOW
            else ()
        )
        return Row(
            s.start_ms,
            s.duration_ms,
            PRACTICE if s.start_ms in self._practice and s.kind == t.WARM_UP else t.KINDS[s.kind],
            told.most,
            s.block,
            s.round,
            s.window,
            cells,
            told.own,
        )

    def _what(self, s: Stretch) -> Tasks[str]:
        if s.kind != t.WINDOW:
            return Tasks(s.name, ())
        if self._schedule.mixed[s.block - 1]:
            name = self._schedule.plan.blocks[s.block - 1].name
            return Tasks(name or f"block {s.block}", ())
        post = self._schedule.at(s)[0]
        return self._asked(s, post.number, post.exercise, self._everybody)

    def _cell(self, s: Stretch, post: Post) -> Cell:
        told = self._asked(s, post.number, post.exercise, post.people)
        bibs = tuple(filter(None, post.bibs(s.turn)))
        return Cell(post.station + 1, told.most, post.who, post.people, bibs, told.own)

    def _asked(
        self, s: Stretch, number: int, exercise: Exercise, bibs: tuple[int, ...]
    ) -> Tasks[str]:
        """Return what an exercise asks of some bibs in a window."""
        key = (s.block, number, s.round, bibs if exercise.scaled else ())
        if key not in self._told:
            self._told[key] = told(exercise, s.round, bibs)
        return self._told[key]


def told(exercise: Exercise, round_: int, bibs: Iterable[int]) -> Tasks[str]:
    """Return what an exercise asks of some bibs in a round, in words."""
    written = described(exercise, round_)
    if not exercise.scaled:
        return Tasks(written, ())
    tasks = by_bib(exercise, bibs)
    return parted(written, {bib: described(task, round_) for bib, task in tasks.items()})


def box_rows(data: bytes) -> list[BoxRow]:
    """Return a line for each span of a box's timeline."""
    reader = t.Reader(io.BytesIO(data))
    texts = [reader.text(n).decode("latin-1") for n in range(reader.head.strings)]
    texts_at = {t.NO_TEXT: "", **dict(enumerate(texts))}
    spans = (reader.span(n, t.Span()) for n in range(reader.head.spans))
    return [_box_row(s, texts_at) for s in spans]


def _box_row(s: t.Span, texts: dict[int, str]) -> BoxRow:
    def words(task: t.Task) -> str:
        ask, tap, every, goal, name = task
        return _joined(texts[name], _task(ask, goal, tap, every))

    by_bib = {bib: words(s.task(slot)) for slot, bib in enumerate(s.bib) if bib}
    tasks = parted(words((s.ask, s.tap, s.every, s.goal, s.name)), by_bib)
    if s.people:
        tasks = Tasks(_joined(texts[s.name], HANDS_OVER), ())
    return BoxRow(
        s.start_ms,
        s.duration_ms,
        t.KINDS[s.kind],
        tasks.most,
        s.block,
        s.round,
        s.window,
        texts[s.who],
        s.people or tuple(bib for bib in s.bib if bib),
        texts[s.next],
        tasks.own,
    )


def described(exercise: Exercise, round_: int) -> str:
    """Return an exercise with what it asks for in a round: ``Push-up, 10 reps``."""
    ask, goal = asked(exercise, round_)
    if exercise.hands_over:
        return _joined(exercise.name, HANDS_OVER)
    unit = f"{exercise.unit}s"
    task = _task(ask, goal, RULES[exercise.tap.rule], exercise.tap.every, unit)
    return _joined(exercise.name, task)


def _task(ask: int, goal: int, tap: int, every: int, unit: str = "reps") -> str:
    """Return what a window asks for, and how people tap unless it is the usual way."""
    goal_words = f"goal {goal}" + " rounds" * (unit == "rounds")
    words = {
        t.ASK_TARGET: f"{goal} {unit if goal != 1 else unit[:-1]}",
        t.ASK_HOLD: "hold",
        t.ASK_OPEN: goal_words if goal else "",
    }
    usual = (t.TAP_EACH, t.TAP_DROP if ask == t.ASK_HOLD else t.TAP_EACH)
    how = "" if ask == t.ASK_NONE or tap in usual else f"tap {t.TAPS[tap]}"
    if tap == t.TAP_EVERY:
        how += f" {every}"
    return ", ".join(word for word in (words.get(ask, ""), how) if word)


def _joined(name: str, task: str) -> str:
    return f"{name}, {task}" if task else name
