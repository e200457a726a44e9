"""Making a class last exactly its slot."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from handbell.base.errors import UsageError
from handbell.base.progress import Progress, no_progress
from handbell.coach.fit.fit import Fitted, Misfit, Move, fit
from handbell.coach.fit.levers import block_words, pause_words
from handbell.coach.fit.model import SEARCH_SECONDS
from handbell.coach.fit.movable import bounds, held_within, uncut
from handbell.coach.fit.promise import Short, short, short_by_form
from handbell.coach.fit.targets import denser, work_share
from handbell.coach.fit.write import written
from handbell.coach.library.apart import breach_words, breaches
from handbell.coach.library.remarks import doings, unpractised
from handbell.coach.library.shelf import Library, load_library
from handbell.compile import CompiledClass
from handbell.compile.expand import Course
from handbell.compile.schedule import resolve
from handbell.plan.demands import LEVELS
from handbell.plan.model import Plan
from handbell.plan.own_tasks import bibs_words

from .patience import patiently
from .plans import plan_text, write_changed

DEMANDING_LEVEL = 4  # of 5, for a first class; common practice, no source


@dataclass(frozen=True)
class Times:
    """A class's sums in ms."""

    slot_ms: int
    work_ms: int
    rest_ms: int


@dataclass(frozen=True)
class Eased:
    """A target or goal (``key``) that shrank with its windows, a number for each round or one."""

    what: str
    key: str
    was: tuple[int, ...]
    to: tuple[int, ...]


@dataclass(frozen=True)
class Harder:
    """The same target or goal in less time."""

    what: str
    key: str
    reps: tuple[int, ...]
    was_ms: tuple[int, ...]
    to_ms: tuple[int, ...]


@dataclass(frozen=True)
class WorkShare:
    """How much of a block's time, or of the class's, is work."""

    what: str
    was_percent: int
    to_percent: int


@dataclass(frozen=True)
class TooShort:
    """A pause that is less than first-timers should have."""

    what: str
    ms: int
    should_ms: int


@dataclass(frozen=True)
class Uncut:
    """A block whose windows stay as long as they are, since the targets of some can't be less."""

    what: str
    exercises: tuple[str, ...]


@dataclass(frozen=True)
class Demanding:
    """An exercise that asks much of people at their first class, and ``why``."""

    exercise: str
    why: tuple[str, ...]


@dataclass(frozen=True)
class Fits:
    """A class that lasts its slot: what was changed, and what that means for people.

    ``short_by_form`` are pauses like ``short`` that a short form keeps. ``uncut`` is told where
    first-timers' windows were cut elsewhere, ``demanding`` what stays in their class that no time
    makes easy. ``gates`` is how often it waits for the coach, which counts as nothing.
    """

    fits: bool
    title: str
    before: Times
    after: Times
    changed: tuple[Move, ...]
    eased: tuple[Eased, ...]
    denser: tuple[Harder, ...]
    work: tuple[WorkShare, ...]
    short: tuple[TooShort, ...]
    short_by_form: tuple[TooShort, ...]
    uncut: tuple[Uncut, ...]
    demanding: tuple[Demanding, ...]
    gates: int
    warnings: tuple[str, ...]
    written: str | None


@dataclass(frozen=True)
class FitsNot:
    """A slot that can't be met: the longest class below it and the shortest above, or None.

    ``held`` are the breaks that stay a minute, so that never_after is kept.
    """

    ok: bool
    fits: bool
    title: str
    slot_ms: int
    below_ms: int | None
    above_ms: int | None
    short_forms: bool
    uncut: tuple[Uncut, ...]
    held: tuple[str, ...]


def fit_plan(
    plan: Path,
    slot_ms: int | None = None,
    keep: Collection[str] = (),
    first_timers: bool = False,
    write: bool = False,
    out: Path | None = None,
    progress: Progress = no_progress,
    own_library: Path | None = None,
) -> Fits | FitsNot:
    """Make a class last its slot, the plan's own unless told, or say how near it can come.

    ``keep`` names what is left alone, of LEVELS. Raises UsageError, PlanError, HandbellError when
    boxes could not play what comes out, SolverMissingError.
    """
    require_levels(keep)
    text, before = plan_text(plan)
    if slot_ms is None and text.plan.fit.minutes is None:
        raise UsageError("Say how long the slot is", "Add --minutes 45")
    slot_ms = slot_ms or (text.plan.fit.minutes or 0) * 60_000
    found = patiently(
        lambda: fit(text.plan, slot_ms, keep, first_timers),
        progress,
        "the class",
        "looking for a fit, seconds",
        SEARCH_SECONDS,
    )
    whole = _uncut(text.plan) if first_timers and "windows" not in keep else ()
    if isinstance(found, Misfit):
        forms = any(block.format for block in text.plan.blocks)
        near = (found.slot_ms, found.below_ms, found.above_ms)
        return FitsNot(
            False, False, text.plan.title, *near, forms, whole, _held(text.plan, keep, first_timers)
        )
    after, built = written(text, found)
    asked = bool(found.moves or out)
    return Fits(
        True,
        built.plan.title,
        times_of(found.before),
        times_of(found.after),
        tuple(found.moved),
        _eased(found),
        _harder(text.plan, found.plan),
        _work(text.plan, found),
        _too_short(text.plan, short(text.plan, found.plan)) if first_timers else (),
        _too_short(text.plan, short_by_form(text.plan, found.plan)) if first_timers else (),
        whole if any(move.level == "windows" for move in found.moved) else (),
        _demanding(found.plan, load_library(own_library)) if first_timers else (),
        sum(block.gate for block in built.plan.blocks),
        (*built.warnings, *_closer(text.plan, built)),
        write_changed(plan, before, after, write, out) if asked else None,
    )


def require_levels(keep: Collection[str]) -> None:
    """Raise UsageError when something to keep is none of LEVELS."""
    unknown = [what for what in keep if what not in LEVELS]
    if unknown:
        raise UsageError(f"There is no {unknown[0]} to keep", f"Keep one of {', '.join(LEVELS)}")


def times_of(total: Course) -> Times:
    """Return a class's sums."""
    return Times(total.slot_ms, total.work_ms, total.total_ms - total.work_ms)


def _eased(found: Fitted) -> tuple[Eased, ...]:
    return tuple(
        Eased(_whose(one.name, one.bibs), one.key, one.was.values, one.to.values)
        for one in found.eased
    )


def _harder(before: Plan, after: Plan) -> tuple[Harder, ...]:
    return tuple(
        Harder(
            _whose(one.name, one.bibs),
            one.key,
            one.reps.values,
            one.was_ms.values,
            one.to_ms.values,
        )
        for one in denser(before, after)
    )


def _whose(name: str, bibs: tuple[int, ...]) -> str:
    return f"{name} ({bibs_words(bibs)})" if bibs else name


def _work(plan: Plan, found: Fitted) -> tuple[WorkShare, ...]:
    was, now = found.before, found.after
    whole = WorkShare(
        "the class", _percent(was.work_ms, was.total_ms), _percent(now.work_ms, now.total_ms)
    )
    blocks = (
        WorkShare(
            block_words(plan, b),
            round(100 * work_share(plan, b)),
            round(100 * work_share(found.plan, b)),
        )
        for b in range(len(plan.blocks))
    )
    return (whole, *blocks)


def _closer(before: Plan, after: CompiledClass) -> Iterator[str]:
    """Yield what comes directly after what it never should, now that pauses are shorter."""
    known = breach_words(before, breaches(resolve(before)))
    found = breach_words(after.plan, breaches(after.schedule))
    return (words for words in found if words not in known)


def _held(plan: Plan, keep: Collection[str], first_timers: bool) -> tuple[str, ...]:
    if "breaks" in {*keep, *plan.fit.keep}:
        return ()
    held = held_within(plan, bounds(plan, first_timers))
    return tuple(f"after {block_words(plan, b)}" for b in sorted(held))


def _percent(part: int, whole: int) -> int:
    return round(100 * part / whole) if whole else 0


def _too_short(plan: Plan, found: Sequence[Short]) -> tuple[TooShort, ...]:
    return tuple(TooShort(pause_words(plan, one.pause), one.ms, one.should_ms) for one in found)


def _demanding(plan: Plan, library: Library) -> tuple[Demanding, ...]:
    new = {name for _, name in unpractised(plan, library)}
    found = []
    for name in dict.fromkeys(name for _, name in doings(plan)):
        entry = library.find(name)
        if entry is None:
            continue
        why = [f"level {entry.level}"] if entry.level >= DEMANDING_LEVEL else []
        why += ["hard landings"] if entry.impact == "high" else []
        why += ["needs practice"] if name in new else []
        if why:
            found.append(Demanding(name, tuple(why)))
    return tuple(found)


def _uncut(plan: Plan) -> tuple[Uncut, ...]:
    if "windows" in plan.fit.keep:
        return ()
    found = uncut(plan, bounds(plan, first_timers=True))
    return tuple(Uncut(block_words(plan, b), tuple(dict.fromkeys(names))) for b, names in found)
