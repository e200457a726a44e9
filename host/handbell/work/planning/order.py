"""Arranging who goes where, so that kit and stations are enough."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from handbell.base.choices import SOLVE_SECONDS
from handbell.base.errors import HandbellError, PlanError, UsageError
from handbell.base.progress import Progress, no_progress
from handbell.coach.library.apart import breach_words, breaches
from handbell.coach.library.shelf import Library, load_library
from handbell.coach.order.better import Better, better
from handbell.coach.order.kit import Order, Shared, changes, orders, share
from handbell.coach.order.table import Visit, by_group, by_station, visits
from handbell.coach.writing.edit import PlanText
from handbell.compile.build import CompiledClass, build
from handbell.plan.files import parse_plan
from handbell.plan.model import Plan

from .patience import patiently
from .plans import plan_text, write_changed

SECONDS_MOST = 3600


@dataclass(frozen=True)
class BlockOrder:
    """How a block (from 1) is arranged; ``order`` is as the plan writes it, None without need.

    ``fits`` when the plan's own does. ``steps`` are windows a round, ``waiting`` how many of them
    each group waits; ``shortest`` that fewer were ruled out. With a ``clash`` there is no order:
    it has the demands that can't hold together, the ``smallest`` such set or not, and ``enough``
    of which kit how many would do. Of an order that was found, ``alike`` is how often something
    follows straight that tires the same, ``walk_m`` the way of all groups in a round if the plan
    says where stations are, and ``best`` whether no better one is possible.
    """

    block: int
    name: str
    fits: bool
    order: Order | None
    steps: int | None
    waiting: tuple[int, ...] | None
    shortest: bool | None
    clash: tuple[str, ...] | None
    smallest: bool | None
    enough: dict[str, int]
    alike: int | None
    walk_m: float | None
    best: bool | None


@dataclass(frozen=True)
class Ordered:
    """All blocks, and who is where when: ``table`` by group or by station, empty after a clash.

    ``stations_named`` when the plan names its stations; ``changed`` when its file must; ``apart``
    when nothing comes directly after what it never should. The class
    lasted ``before_ms``, None where it could not be played, and lasts ``slot_ms``; ``wished_ms`` is
    the slot of the plan's [fit].
    """

    ok: bool
    plan: str
    title: str
    blocks: tuple[BlockOrder, ...]
    by: str
    table: dict[str, tuple[Visit, ...]]
    stations_named: bool
    before_ms: int | None
    slot_ms: int
    wished_ms: int | None
    changed: bool
    apart: bool
    warnings: tuple[str, ...]
    written: str | None


def order(
    plan: Path,
    by: str = "group",
    write: bool = False,
    out: Path | None = None,
    seconds: float = SOLVE_SECONDS,
    progress: Progress = no_progress,
    own_library: Path | None = None,
) -> Ordered:
    """Find an order for each lane or group; ``by`` is ``group`` or ``station``, for the table.

    Each block is searched for so many ``seconds``; why there is no order may take longer. Raises
    PlanError, UndecidedError, SolverMissingError.
    """
    if not 1 <= seconds <= SECONDS_MOST:
        raise UsageError(f"{seconds:g} s is no time to search", f"Say 1 to {SECONDS_MOST}")
    text, before = plan_text(plan)
    library = load_library(own_library)
    tells: dict[tuple[int, Order | None], Better | None] = {}

    def arrange(plan: Plan, block: int) -> Shared:
        found, more = _shared(plan, block, seconds, library, progress)
        tells.setdefault((block, found.order), more)
        return found

    shared = orders(text.plan, arrange)
    blocks = tuple(_told(text, s, tells[s.block, s.order]) for s in shared)
    named = bool(text.plan.stations)
    if any(s.clash for s in shared):
        none = (named, None, 0, None, False, False, (), None)
        return Ordered(False, str(plan), text.plan.title, blocks, by, {}, *none)
    wanted = changes(text.plan, shared)
    after = text.changed(wanted) if wanted else before
    built = _compiled(after, text)
    close = breaches(built.schedule)
    table = (by_group if by == "group" else by_station)(visits(built))
    return Ordered(
        True,
        str(plan),
        text.plan.title,
        blocks,
        by,
        {name: tuple(rows) for name, rows in table.items()},
        named,
        _slot_ms(text.plan),
        built.totals.slot_ms,
        minutes * 60_000 if (minutes := text.plan.fit.minutes) else None,
        bool(wanted),
        not close,
        (*built.warnings, *breach_words(built.plan, close)),
        write_changed(plan, before, after, write, out) if wanted else None,
    )


def _shared(
    plan: Plan, block: int, seconds: float, library: Library, progress: Progress
) -> tuple[Shared, Better | None]:
    """Return how a block is shared, in as good an order as was found in half of the time each."""

    def job() -> tuple[Shared, Better | None]:
        shared = share(plan, block, seconds)
        more = better(plan, shared, library, seconds / 2)
        return more.shared if more else shared, more

    doing = "looking for an order, seconds"
    return patiently(job, progress, f"block {block + 1}", doing, seconds)


def _slot_ms(plan: Plan) -> int | None:
    """Return how long a class lasts, None where it can't be played as it is."""
    try:
        return build(plan).totals.slot_ms
    except PlanError:
        return None


def _compiled(data: bytes, text: PlanText) -> CompiledClass:
    try:
        return build(parse_plan(data, text.name))
    except PlanError as error:
        raise HandbellError(
            f"In that order the plan would not pass the check: {'; '.join(error.faults)}",
            "Nothing is changed; mend what is named",
        ) from None


def _told(text: PlanText, shared: Shared, better: Better | None) -> BlockOrder:
    block, found, clash = text.plan.blocks[shared.block], shared.schedule, shared.clash
    return BlockOrder(
        shared.block + 1,
        block.name or "",
        shared.order is not None and shared.order == block.order,
        shared.order,
        found.steps if found else None,
        tuple(found.waiting) if found else None,
        found.shortest if found else None,
        clash.words if clash else None,
        clash.smallest if clash else None,
        dict(shared.enough),
        better.alike if better else None,
        better.walk_m if better else None,
        better.best if better else None,
    )
