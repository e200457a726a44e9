"""A whole plan one step easier or harder: along the ladder, in reps, in work and rest.

    one_step(text, library, "easier") -> Stepped

An exercise goes one step along the library's ladder. Where none will do, a fifth less or more is
asked of it, and its lever is written beside it. Windows and the rests after them trade 5 s.
Easier asks no more of anybody in any window: reps are rounded down, and an exercise is taken only
where level, landings and loaded parts stay or get less. Harder brings no new kit, no new skill and
no harder landings, and leaves own tasks as they are. The figures are ours, no source.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from handbell.base.errors import HandbellError, PlanError
from handbell.coach.library.shelf import Library
from handbell.coach.swap.floor import Floor, as_called, known_in, names_of_lists
from handbell.coach.writing.edit import Change, PlanText
from handbell.coach.writing.pairs import renamed_pairs
from handbell.plan.agreement import Place
from handbell.plan.files import parse_plan
from handbell.plan.model import Block, Plan
from handbell.plan.shorthands import asks_each

from .along import EASIER, Along
from .fit import Move, move_of
from .levers import Lever, Range, Site, block_words, moved
from .movable import REST_MS, ROUND_REST_MS, WORK_MS, rest_kinds, rest_sites, window_sites
from .open_lists import spare_landings
from .targets import Ower, asks_of, owers_of, shrunk
from .task_steps import Changes, TaskStep, TaskSteps
from .write import changes as timed

if TYPE_CHECKING:
    from handbell.compile import CompiledClass

STEP_MS = 5_000
REST_KEPT_MS = 10_000  # harder takes no rest below this
REST_MOST_MS = 120_000
_MODES = ((True, True), (False, True), (True, False), (False, False))  # trade times; use the ladder


@dataclass(frozen=True)
class BlockStep:
    """What a block (from 0) becomes; ``stuck`` says why nothing could be changed."""

    block: int
    moves: tuple[Move, ...] = ()
    tasks: tuple[TaskStep, ...] = ()
    stuck: str = ""


@dataclass(frozen=True)
class Stepped:
    """A plan's file with every block one step further, the class compiled from it, and how.

    ``said`` is what becomes of the plan's never_after.
    """

    data: bytes
    built: CompiledClass
    said: tuple[str, ...]
    blocks: tuple[BlockStep, ...]


@dataclass
class _Made:
    """Changes of a block that may yet be refused."""

    step: BlockStep
    changes: Changes


def one_step(text: PlanText, library: Library, way: str, keep: Collection[str] = ()) -> Stepped:
    """Return a plan one step easier or harder; ``keep`` names levels of fit to leave alone.

    A block that would not pass the check so is changed less, or not at all.
    """
    kept = {*keep, *text.plan.fit.keep}
    library = as_called(library, text)
    tasks = TaskSteps(text, Along(library, Floor(text, known_in(text.exercises, library)), way))
    good: list[_Made] = []
    found = _changed(text, good)
    blocks = []
    for b in range(len(text.plan.blocks)):
        stuck = ""
        for trade, ladder in _MODES:
            made = _of_block(
                text, tasks, b, _times(text, b, way, kept) if trade else {}, ladder, way
            )
            if made is None:
                continue
            try:
                found = _changed(text, [*good, made])
            except (PlanError, HandbellError) as error:
                stuck = stuck or str(error)
                continue
            good.append(made)
            blocks.append(made.step)
            break
        else:
            blocks.append(BlockStep(b, stuck=stuck or f"nothing {way} suits its windows or rounds"))
    return Stepped(*found, tuple(blocks))


def _times(text: PlanText, b: int, way: str, kept: Collection[str]) -> dict[Lever, int] | None:
    """Return how windows and rests of a block move; None where they can't, or are kept."""
    plan = text.plan
    if "windows" in kept or "rests" in kept:
        return None
    windows = plan.fit.work_ms or WORK_MS
    if way == EASIER:
        most = plan.fit.rest_ms[1] if plan.fit.rest_ms else REST_MOST_MS
        return _traded(plan, b, -STEP_MS, (windows[0], REST_MOST_MS), (0, most))
    least = plan.fit.rest_ms[0] if plan.fit.rest_ms else REST_MS[0]
    return _traded(plan, b, STEP_MS, (0, windows[1]), (max(least, REST_KEPT_MS), REST_MOST_MS))


def _traded(
    plan: Plan, b: int, by_ms: int, windows: Range, rests: Range
) -> dict[Lever, int] | None:
    """Return moves that make a block's windows longer by a time and its rests shorter by it.

    None where a window or a rest would leave its bounds, where a rest is written as none, or
    where a short form says the times.
    """
    block = plan.blocks[b]
    own = [e.rest_ms for e in block.exercises]
    sites = window_sites(b, block)
    works = [value + by_ms for site in sites for value in site.values]
    if block.format is not None or 0 in (*own, block.round_rest_ms):
        return None
    if not windows[0] <= min(works) <= max(works) <= windows[1]:
        return None
    words = block_words(plan, b)
    moves = {Lever("windows", f"windows of {words}", b, sites, (by_ms,)): by_ms}
    paused = rest_sites(plan, b, block.rounds)
    between = block.round_rest_ms
    if between is not None and "rounds" in rest_kinds(plan, b, block.rounds):
        site = Site(("block", b), "round_rest_ms", between)
        moves[Lever("rests", f"rest between rounds of {words}", b, (site,), (-by_ms,))] = -by_ms
        if not rests[0] <= between - by_ms <= max(rests[1], ROUND_REST_MS[1]):
            return None
    if not all(rests[0] <= site.values[0] - by_ms <= rests[1] for site in paused):
        return None
    if paused:
        moves[Lever("rests", f"rest in {words}", b, paused, (-by_ms,))] = -by_ms
    return moves


def _of_block(
    text: PlanText,
    tasks: TaskSteps,
    b: int,
    times: dict[Lever, int] | None,
    ladder: bool,
    way: str,
) -> _Made | None:
    """Return a block's changes, None when its times can't move so, or whole reps don't fit them."""
    if times is None:
        return None
    after = moved(text.plan, times).blocks[b]
    changes: Changes = {c.place: dict(c.values) for c in timed(text.plan, times)}
    told: list[TaskStep] = []
    for place in (p for p in text.exercises if p.block == b):
        is_asked = asks_each(after.format) and not place.in_list
        work = after.exercises[place.at[1]].work if is_asked else None
        made = tasks.of(place, work, ladder)
        if made is None:
            return None
        for at, keys in made[0].items():
            changes.setdefault(at, {}).update(keys)
        told += made[1]
    if way == EASIER and not (
        _lists_shrink(text, b, after, changes) and _land_no_more(text, tasks, b, changes, told)
    ):
        return None
    moves = tuple(move_of(lever, by) for lever, by in times.items())
    return _Made(BlockStep(b, moves, tuple(told)), changes)


def _land_no_more(
    text: PlanText, tasks: TaskSteps, b: int, changes: Changes, told: list[TaskStep]
) -> bool:
    """Let lists without a target land no more often; False where they can't."""
    places = [place for place in text.exercises if place.block == b]
    is_short = not asks_each(text.plan.blocks[b].format)
    for e, exercise in enumerate(text.plan.blocks[b].exercises):
        if not exercise.parts or exercise.reps is not None:
            continue
        mine = [n for n, p in enumerate(places) if is_short or (p.in_list and p.at[1] == e)]
        first, last = mine[0], mine[-1] + 1
        theirs = told[first:last]
        if not spare_landings(exercise, places[first:last], tasks.library, changes, theirs):
            return False
        told[first:last] = theirs
    return True


def _lists_shrink(text: PlanText, b: int, after: Block, changes: Changes) -> bool:
    """Let the rounds asked for of lists shrink with their windows; False where they can't."""
    for e, exercise in enumerate(text.plan.blocks[b].exercises):
        if exercise.parts and exercise.work != after.exercises[e].work:
            for own, key, said in asks_of(exercise):
                owers = [Ower(task.tap) for _, task in owers_of(exercise, own)]
                to = shrunk(said, exercise, after.exercises[e].work, owers)
                if to is None:
                    return False
                at: Place = ("block", b, "exercise", e)
                at = at if own is None else (*at, "scaled", own)
                changes.setdefault(at, {})[key] = list(to.values) if to.listed else to.values[0]
    return True


def _changed(text: PlanText, good: Sequence[_Made]) -> tuple[bytes, CompiledClass, tuple[str, ...]]:
    """Return the plan's bytes with blocks changed, compiled anew, and what to say of its rules.

    Raises PlanError.
    """
    from handbell.compile import build

    changes = [Change(at, keys) for made in good for at, keys in made.changes.items()]
    changes += names_of_lists(text, changes)
    kept_apart, said = renamed_pairs(text, changes)
    data = text.changed([*changes, *kept_apart])
    return data, build(parse_plan(data, text.name)), tuple(said.values())
