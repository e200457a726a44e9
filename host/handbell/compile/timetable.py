"""The class as a table for people: when, what, and who at each station."""

from __future__ import annotations

import io
from dataclasses import dataclass

from handbell.compile.expand import Stretch
from handbell.compile.layouts import Floor
from handbell.compile.tracks import RULES, asked
from handbell.plan.model import Exercise, Plan
from handbell_core import timeline as t


@dataclass(frozen=True)
class Cell:
    """Who is at a station in a window, what they do there, and the bibs asked to tap."""

    station: int
    what: str
    who: str
    bibs: tuple[int, ...]


@dataclass(frozen=True)
class Row:
    """One line: ``class_ms`` when it begins, what it is, and each station in a window."""

    class_ms: int
    duration_ms: int
    kind: str
    what: str
    block: int
    round: int
    window: int
    stations: tuple[Cell, ...]


@dataclass(frozen=True)
class BoxRow:
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


def rows(plan: Plan, stretches: list[Stretch]) -> list[Row]:
    """Return a line for each stretch of a class."""
    floor = Floor(plan)
    return [
        Row(
            s.start_ms,
            s.duration_ms,
            t.KINDS[s.kind],
            _what(plan, s),
            s.block,
            s.round,
            s.window,
            _stations(plan, floor, s) if s.kind == t.WINDOW else (),
        )
        for s in stretches
    ]


def box_rows(data: bytes) -> list[BoxRow]:
    """Return a line for each span of a box's timeline."""
    reader = t.Reader(io.BytesIO(data))
    texts = [reader.text(n).decode("latin-1") for n in range(reader.head.strings)]
    texts_at = {t.NO_TEXT: "", **dict(enumerate(texts))}
    spans = (reader.span(n, t.Span()) for n in range(reader.head.spans))
    return [
        BoxRow(
            s.start_ms,
            s.duration_ms,
            t.KINDS[s.kind],
            _joined(texts_at[s.name], _task(s.ask, s.goal, s.tap, s.every)),
            s.block,
            s.round,
            s.window,
            texts_at[s.who],
            tuple(bib for bib in s.bib if bib),
            texts_at[s.next],
        )
        for s in spans
    ]


def _what(plan: Plan, s: Stretch) -> str:
    if s.kind != t.WINDOW:
        return s.name
    block = plan.blocks[s.block - 1]
    if plan.is_rotation or block.order:
        return block.name or f"block {s.block}"
    return described(block.exercises[s.step], s.round)


def _stations(plan: Plan, floor: Floor, s: Stretch) -> tuple[Cell, ...]:
    block = plan.blocks[s.block - 1]
    cells = []
    for box in range(floor.boxes):
        seat = floor.seat(box, s.block - 1, s.step, s.turn)
        exercise = block.exercises[floor.exercise(floor.track(box), s.block - 1, s.step)]
        cells.append(Cell(box + 1, described(exercise, s.round), seat.group, seat.bibs))
    return tuple(cells)


def described(exercise: Exercise, round_: int) -> str:
    """Return an exercise with what it asks for in a round: ``Push-up, 10 reps``."""
    ask, goal = asked(exercise, round_)
    return _joined(exercise.name, _task(ask, goal, RULES[exercise.tap.rule], exercise.tap.every))


def _task(ask: int, goal: int, tap: int, every: int) -> str:
    """Return what a window asks for, and how people tap unless it is the usual way."""
    words = {
        t.ASK_TARGET: f"{goal} reps",
        t.ASK_HOLD: "hold",
        t.ASK_OPEN: f"goal {goal}" if goal else "",
    }
    usual = (t.TAP_EACH, t.TAP_DROP if ask == t.ASK_HOLD else t.TAP_EACH)
    how = "" if ask == t.ASK_NONE or tap in usual else f"tap {t.TAPS[tap]}"
    if tap == t.TAP_EVERY:
        how += f" {every}"
    return ", ".join(word for word in (words.get(ask, ""), how) if word)


def _joined(name: str, task: str) -> str:
    return f"{name}, {task}" if task else name
