"""The timetable of a class on one page, to hold in the hand."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from handbell.base.times import clock
from handbell.plan.own_tasks import own_list
from handbell_core import timeline as t

from .cards import block_title, kit_words, own_words, rounds_words, whole_task
from .legible import LINE, lines

if TYPE_CHECKING:
    from handbell.coach.library.shelf import Library
    from handbell.compile import CompiledClass
    from handbell.compile.posts import Post
    from handbell.compile.schedule import Schedule
    from handbell.plan.model import Exercise, Plan

    from .layout import Paper

COLUMNS_MOST = 8
SIZE_MOST_MM, SIZE_LEAST_MM = 4.4, 2.3
_PADDING = 0.45  # above and below a line, together, in sizes of the type
_SIDE = 0.9  # beside a cell's words
_WHEN, _WHEN_BESIDE_MANY = 30.0, 22.0  # the share of the times, the same all down the page
_WORDS = {t.BREAK: "Break", t.GATE: "When you are ready", t.LEAD_IN: "Lead-in"}


@dataclass(frozen=True)
class Part:
    """A block's table, or a line between two (then ``rows`` is one row and there is no heading).

    ``shares`` are the widths of the columns, in hundredths; ``notes`` stand under the title.
    """

    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shares: tuple[float, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Timetable:
    """The page: ``size_mm`` is the size of its type, ``over`` that even the least is too large."""

    title: str
    facts: tuple[str, ...]
    parts: tuple[Part, ...]
    size_mm: float
    over: bool


def timetable(built: CompiledClass, library: Library, paper: Paper, caution: str) -> Timetable:
    """Return a class's timetable, set in the largest type with which it is one page."""
    facts = tuple(_facts(built, library, caution))
    parts = tuple(_parts(built))
    # The sheet stands here, where cards lie on their side.
    wide_mm, high_mm = paper.depth_mm, paper.room_mm
    size = SIZE_MOST_MM
    while size > SIZE_LEAST_MM and _high_mm(parts, facts, size, wide_mm) > high_mm:
        size = round(size - 0.1, 1)
    over = _high_mm(parts, facts, size, wide_mm) > high_mm
    return Timetable(built.plan.title, facts, parts, size, over)


def _high_mm(parts: Sequence[Part], facts: Sequence[str], size: float, wide_mm: float) -> float:
    """Return how much of a page parts take in a size of type."""
    count = 2.6 + sum(lines(fact, size, wide_mm) for fact in facts)
    for part in parts:
        count += 1.9 if part.title else 0.3
        count += sum(lines(note, size, wide_mm) for note in part.notes)
        for row in (part.headings, *part.rows):
            cells = [
                lines(cell, size, wide_mm * share / 100 - 2 * _SIDE * size, bold=True)
                for cell, share in zip(row, part.shares, strict=False)
            ]
            count += max(cells) + _PADDING if cells else 0
    return count * size * LINE


def _facts(built: CompiledClass, library: Library, caution: str) -> Iterator[str]:
    plan, totals = built.plan, built.totals
    yield f"{clock(totals.slot_ms)} from lead-in to cool-down, {clock(totals.work_ms)} of work"
    if plan.groups:
        groups = (f"{group.name}: {', '.join(map(str, group.bibs))}" for group in plan.groups)
        yield f"{'; '.join(groups)}"
    kit = kit_words(plan, library)
    if kit:
        yield f"Kit: {kit}"
    yield caution


def _parts(built: CompiledClass) -> Iterator[Part]:
    schedule = built.schedule
    starts = _starts(schedule)
    wide = _WHEN_BESIDE_MANY if any(schedule.mixed) else _WHEN
    for s in schedule.stretches:
        if s.kind == t.WINDOW:
            if s.block in starts:
                yield from _block(schedule, s.block - 1, starts.pop(s.block), wide)
        elif s.name or s.kind in _WORDS:
            what = s.name or _WORDS[s.kind]
            how_long = f", {clock(s.duration_ms)}" if s.duration_ms else ""
            yield _between(s.start_ms, f"{what}{how_long}", wide)
    yield _between(built.totals.slot_ms, "End", wide)


def _between(at_ms: int, what: str, wide: float) -> Part:
    return Part("", (), ((clock(at_ms), what),), (wide, 100 - wide))


def _starts(schedule: Schedule) -> dict[int, dict[int, list[str]]]:
    """Return the starts of windows, by block, and by exercise where all stations do the same.

    Else they are by step; legs of a relay that have all lanes where they were before are one.
    """
    found: dict[int, dict[int, list[str]]] = {}
    first: dict[int, int] = {}
    for s in schedule.windows():
        posts = schedule.at(s)
        step = first.setdefault(id(posts), s.step)
        key = step if schedule.mixed[s.block - 1] else posts[0].number
        found.setdefault(s.block, {}).setdefault(key, []).append(clock(s.start_ms))
    return found


def _block(schedule: Schedule, b: int, starts: dict[int, list[str]], wide: float) -> Iterator[Part]:
    plan, block = schedule.plan, schedule.plan.blocks[b]
    words = (block_title(plan, b), rounds_words(block))
    title = ", ".join(word for word in words if word)
    asked = [schedule.asked(b, e) for e in range(len(block.exercises))]
    exercises = [tasks.most for tasks in asked]
    notes = tuple(f"At {a.most.name}, {own_list(own_words(a))}" for a in asked if a.own)
    if not schedule.mixed[b]:
        lines = tuple(
            (", ".join(starts[e]), exercise.name, whole_task(exercise))
            for e, exercise in enumerate(exercises)
        )
        yield Part(
            title, ("starts", "exercise", "what"), lines, (wide, *[(100 - wide) / 2] * 2), notes
        )
        return
    if not plan.is_rotation:
        tasks = (f"{e.name} {whole_task(e)}" for e in exercises)
        title = f"{title}: {'; '.join(tasks)}"
    for first in range(0, plan.boxes, COLUMNS_MOST):
        boxes = range(first, min(first + COLUMNS_MOST, plan.boxes))
        steps = [schedule.posts[b][step] for step in starts]
        headings, rows = _matrix(plan, steps, exercises, boxes)
        timed = tuple((", ".join(at), *row) for at, row in zip(starts.values(), rows, strict=True))
        shares = (wide, *([(100 - wide) / len(boxes)] * len(boxes)))
        yield Part(title, ("starts", *headings), timed, shares, notes)
        title, notes = f"{block_title(plan, b)}, further stations".lstrip(", "), ()


def _matrix(
    plan: Plan, steps: Sequence[tuple[Post, ...]], exercises: Sequence[Exercise], boxes: range
) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return the stations, and in each step who is there, or what each lane does."""
    headings = [plan.label(box) for box in boxes]
    if plan.is_rotation:
        headings = [
            f"{label}: {exercises[box].name}, {whole_task(exercises[box])}"
            for label, box in zip(headings, boxes, strict=True)
        ]

    def cell(post: Post) -> str:
        return (post.who or "–") if plan.is_rotation else exercises[post.number].name

    return headings, [tuple(cell(step[box]) for box in boxes) for step in steps]
