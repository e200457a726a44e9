"""Checking a plan: its remarks, its times, its numbers, and how it compares with another one."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from handbell.boxes.clocks.marks import Walk
from handbell.coach.library.remarks import coach_remarks
from handbell.coach.library.shelf import Library, load_library
from handbell.coach.numbers.against import Measure, against
from handbell.coach.numbers.numbers import numbers_of
from handbell.coach.order import kit
from handbell.compile.build import CompiledClass, Totals

from .numbers import PlanNumbers, earned_words, plan_numbers
from .plans import compiled


@dataclass(frozen=True)
class ByHand:
    """The walk past all boxes that a start by hand or a gate takes; ``words`` say it to a coach.

    ``chance`` is how likely some box rings up to ``apart_most_s`` later than the others.
    """

    walk_s: float
    grid_s: float
    chance: float
    apart_most_s: float
    words: str


@dataclass(frozen=True)
class Compared:
    """What differs from another plan; the lists name exercises."""

    file: str
    title: str
    measures: tuple[Measure, ...]
    new: tuple[str, ...]
    gone: tuple[str, ...]
    changed: tuple[str, ...]


@dataclass(frozen=True)
class Checked:
    """A plan without faults: ``plan`` is its digest, ``gates`` how often it waits for the coach.

    ``earned`` says what is rest besides the pauses that ``totals`` has, and for whom, "" for
    nothing. ``numbers`` are there if they were asked for.
    """

    title: str
    plan: str
    layout: str
    totals: Totals
    earned: str
    gates: int
    by_hand: ByHand
    warnings: tuple[str, ...]
    numbers: PlanNumbers | None
    against: Compared | None


def check(
    plan: Path,
    last: Path | None = None,
    own_library: Path | None = None,
    numbers: bool = False,
    sources: bool = False,
) -> Checked:
    """Check a plan, and compare it with the one of ``last``; raises PlanError with every fault.

    ``numbers`` adds what one person does; ``sources`` adds it, and where its estimates come from.
    """
    built = compiled(plan)
    library = load_library(own_library)
    orders = (f"block {b + 1}: {fault}" for b, fault in kit.faults(built.schedule))
    walk = Walk(built.totals.boxes, built.plan.grid_s)
    return Checked(
        built.plan.title,
        built.plan.digest.hex(),
        built.plan.layout,
        built.totals,
        earned_words(built),
        sum(block.gate for block in built.plan.blocks),
        ByHand(**walk.facts(), words=walk.words()),
        (*built.warnings, *coach_remarks(built.schedule, library), *orders),
        plan_numbers(built, library, sources) if numbers or sources else None,
        None if last is None else _compared(built, library, last),
    )


def _compared(built: CompiledClass, library: Library, last: Path) -> Compared:
    before = compiled(last)
    found = against(built, numbers_of(built, library), before, numbers_of(before, library))
    return Compared(
        str(last), before.plan.title, found.measures, found.new, found.gone, found.changed
    )
