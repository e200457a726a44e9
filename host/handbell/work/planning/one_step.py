"""Making a whole plan one step easier or harder."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from handbell.coach.fit.fit import Move
from handbell.coach.fit.levers import block_words
from handbell.coach.fit.one_step import one_step
from handbell.coach.fit.task_steps import TaskStep
from handbell.coach.library.shelf import load_library
from handbell.compile.expand import expand

from .fit import Times, require_levels, times_of
from .plans import new_remarks, plan_text, write_changed


@dataclass(frozen=True)
class BlockStep:
    """What a block becomes; ``stuck`` says why nothing of it could be changed."""

    what: str
    moves: tuple[Move, ...]
    tasks: tuple[TaskStep, ...]
    stuck: str


@dataclass(frozen=True)
class OneStep:
    """A plan one step further: ``way`` is easier or harder; ``unknown`` is not in the library."""

    title: str
    way: str
    before: Times
    after: Times
    blocks: tuple[BlockStep, ...]
    warnings: tuple[str, ...]
    unknown: tuple[str, ...]
    written: str | None


def step_plan(
    plan: Path,
    way: str,
    keep: Collection[str] = (),
    own_library: Path | None = None,
    write: bool = False,
    out: Path | None = None,
) -> OneStep:
    """Make a plan one step easier or harder; ``keep`` names what of fit's levels is left alone.

    Raises UsageError, PlanError, HandbellError.
    """
    require_levels(keep)
    library = load_library(own_library)
    text, before = plan_text(plan)
    found = one_step(text, library, way, keep)
    blocks = tuple(
        BlockStep(block_words(text.plan, b.block), b.moves, b.tasks, b.stuck) for b in found.blocks
    )
    names = (place.values["name"] for place in text.exercises)
    return OneStep(
        text.plan.title,
        way,
        times_of(expand(text.plan)),
        times_of(found.built.schedule.course),
        blocks,
        (*found.said, *new_remarks(text.plan, found.built, library)),
        tuple(dict.fromkeys(name for name in names if library.find(name) is None)),
        write_changed(plan, before, found.data, write, out)
        if found.data != before or out
        else None,
    )
