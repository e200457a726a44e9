"""Which levers a plan has: what can be moved, within which bounds, and by which steps."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from handbell.coach.library.apart import held_breaks
from handbell.coach.library.following import RECOVERED_MS
from handbell.plan.demands import LEVELS
from handbell.plan.legs import moves_on
from handbell.plan.model import Block, PerRound, Plan, lists_of
from handbell.plan.own_tasks import each_task
from handbell.plan.rules import TALLY_LEAST_MS
from handbell.plan.values import PAUSE_LEAST_MS

from .levers import Lever, Range, Site, block_words, changed
from .promise import (
    BREAK_LEAST_MS,
    REST_GROWS_TO_MS,
    REST_LEAST_MS,
    TENTH_MS,
    break_least_ms,
    half_more_ms,
    pauses_of,
    rest_least_ms,
    said_bounds,
)
from .targets import can_shrink

BREAK_MS = (30_000, 60_000)
REST_MS = (0, 30_000)
ROUND_REST_MS = (0, 90_000)
WORK_MS = (20_000, 45_000)
ROUNDS = (2, 6)
FIRST_BREAK_MS = (BREAK_LEAST_MS, 120_000)  # for people at their first class
FIRST_REST_MS = (REST_LEAST_MS, REST_GROWS_TO_MS)
# For people at their first class rounds go before windows get shorter, so that nobody hurries.
FIRST_LEVELS = ("breaks", "rests", "warm-up", "rounds", "windows")


class Step(NamedTuple):
    """By how much a value moves at least, and whether it may also be at its bounds' very ends."""

    size: int
    ends: bool = False


SECONDS = Step(1_000)
SECONDS_OR_ENDS = Step(1_000, ends=True)
TENTHS = Step(TENTH_MS)
WINDOWS = Step(5_000)
ONE = Step(1)


@dataclass(frozen=True)
class Bounds:
    """Least and most of what is moved; those in ``said`` hold even against the plan itself."""

    breaks: Range
    rests: Range
    round_rests: Range
    guided: Range | None
    windows: Range
    rounds: Range
    said: frozenset[str]
    first_timers: bool = False
    more_rounds: bool = True

    @property
    def order(self) -> tuple[str, ...]:
        """The levels in the order in which they move."""
        return FIRST_LEVELS if self.first_timers else LEVELS


def bounds(plan: Plan, first_timers: bool = False) -> Bounds:
    """Return the bounds that a plan says, and the usual ones for the rest.

    People at their first class do more rounds only where the plan says rounds.
    """
    said = plan.fit
    return Bounds(
        said.break_ms or (FIRST_BREAK_MS if first_timers else BREAK_MS),
        said.rest_ms or (FIRST_REST_MS if first_timers else REST_MS),
        said.rest_ms or ROUND_REST_MS,
        said.guided_ms,
        said.work_ms or WORK_MS,
        said.rounds or ROUNDS,
        frozenset(said_bounds(plan)),
        first_timers,
        not first_timers or said.rounds is not None,
    )


def levers(plan: Plan, within: Bounds, keep: Collection[str], step: Step) -> list[Lever]:
    """Return every lever of a plan that can move, but those of levels to keep."""
    found = [
        *_breaks(plan, within, step),
        *_rests(plan, within, step),
        *_guided(plan, within, step),
        *_windows(plan, within),
        *_rounds(plan, within),
    ]
    return [lever for lever in found if lever.level not in keep and lever.by != (0,)]


# Each level's levers


def held_within(plan: Plan, within: Bounds) -> set[int]:
    """Return the blocks (from 0) whose breaks stay a minute for never_after, if bounds allow it."""
    return held_breaks(plan) if within.breaks[1] >= RECOVERED_MS else set()


def _breaks(plan: Plan, within: Bounds, step: Step) -> Iterator[Lever]:
    held = held_within(plan, within)
    for b, block in enumerate(plan.blocks[:-1]):
        now = plan.break_after_ms(block)
        least, most = within.breaks
        if b in held:
            least = max(least, RECOVERED_MS)
        if within.first_timers:
            most = max(most, now)
            least = min(max(least, break_least_ms(now)), most)
        strict = "break_ms" in within.said or within.first_timers
        by = _amounts(now, (least, most), step, strict, PAUSE_LEAST_MS)
        site = Site(("block", b), "break_ms", now)
        yield Lever("breaks", f"break after {block_words(plan, b)}", b, (site,), by)


def _in_full(plan: Plan) -> Iterator[tuple[int, Block]]:
    """Yield the blocks whose times may move; those in a short form keep what the form says."""
    return ((b, block) for b, block in enumerate(plan.blocks) if block.format is None)


def _rests(plan: Plan, within: Bounds, step: Step) -> Iterator[Lever]:
    strict = "rest_ms" in within.said
    is_strict = strict or within.first_timers
    for b, block in _in_full(plan):
        tallies = any(exercise.tap.rule == "tally" for exercise in block.exercises)
        pause_ms = TALLY_LEAST_MS if tallies else PAUSE_LEAST_MS
        floor_ms = pause_ms if tallies or block.rest_after_last else 0
        rounds = block.rounds + max(_rounds_by(block, within))
        sites = rest_sites(plan, b, rounds)
        what = f"rest in {block_words(plan, b)}"
        if sites:
            for size in (step, TENTHS):  # rests apart by tenths may not move together by seconds
                allowed = [
                    _amounts(now, _rest_range(within, now), size, is_strict, pause_ms)
                    for now in (site.values[0] for site in sites)
                ]
                by = _common(sites, allowed, floor_ms)
                if by != (0,):
                    break
            if within.first_timers and not set.intersection(*map(set, allowed)):
                # Each must get longer, and no amount does for all: they move apart.
                for site, amounts in zip(sites, allowed, strict=True):
                    yield Lever("rests", what, b, (site,), _common((site,), [amounts], floor_ms))
            else:
                yield Lever("rests", what, b, sites, by)
        between = block.round_rest_ms
        if between is not None and "rounds" in rest_kinds(plan, b, rounds):
            by = _amounts(between, _rest_range(within, between, True), step, is_strict, pause_ms)
            site = Site(("block", b), "round_rest_ms", between)
            what = f"rest between rounds of {block_words(plan, b)}"
            yield Lever("rests", what, b, (site,), _common((site,), [by], floor_ms))


def _rest_range(within: Bounds, now: int, between_rounds: bool = False) -> Range:
    least, most = within.round_rests if between_rounds else within.rests
    if within.first_timers:
        most = max(most, now if "rest_ms" in within.said else half_more_ms(now))
        least = min(max(least, rest_least_ms(now, between_rounds)), most)
    return least, most


def rest_kinds(plan: Plan, b: int, rounds: int) -> set[str]:
    """Return which rests of a block follow some window of so many rounds: ``rest``, ``rounds``."""
    longer = changed(plan, ("block", b), "rounds_said", rounds)
    return {pause.kind for pause in pauses_of(longer) if pause.block == b}


def rest_sites(plan: Plan, b: int, rounds: int) -> tuple[Site, ...]:
    """Return the rests that a block has in so many rounds; one written as 0 is meant to be none."""
    block = plan.blocks[b]
    sites = []
    all_alike = plan.is_rotation or block.order or moves_on(plan, block)
    if all_alike and any(exercise.rest_ms == 0 for exercise in block.exercises):
        return ()
    is_any = any(exercise.rest_ms is None for exercise in block.exercises)
    if is_any and "rest" in rest_kinds(plan, b, rounds):
        sites.append(Site(("block", b), "rest_ms", block.rest_ms))
    for e, exercise in enumerate(block.exercises):
        if exercise.rest_ms:
            sites.append(Site(("block", b, "exercise", e), "rest_ms", exercise.rest_ms))
    return tuple(sites)


def _guided(plan: Plan, within: Bounds, step: Step) -> Iterator[Lever]:
    """Yield the parts of warm-up and cool-down; unless said, they get longer and never shorter."""
    for key, word, parts in (
        ("warm_up", "warm-up", plan.warm_up),
        ("cool_down", "cool-down", plan.cool_down),
    ):
        for n, part in enumerate(parts):
            now = part.work_ms
            by = _amounts(
                now,
                within.guided or (now, 2 * now),
                step,
                within.guided is not None,
                PAUSE_LEAST_MS,
            )
            site = Site((key, n), "work_ms", now)
            yield Lever("warm-up", f"{word}, {part.name}", None, (site,), by)


def _windows(plan: Plan, within: Bounds) -> Iterator[Lever]:
    for b, block in _in_full(plan):
        sites, by = window_sites(b, block), _windows_by(b, block, within)
        if within.first_timers:
            most = max(by) if "work_ms" in within.said else 0
            by = tuple(ms for ms in by if ms <= most and not _unshrunk(block, ms)) or (0,)
        yield Lever("windows", f"windows of {block_words(plan, b)}", b, sites, by)


def uncut(plan: Plan, within: Bounds) -> list[tuple[int, tuple[str, ...]]]:
    """Return the blocks (from 0) whose windows may be cut but for targets that can't shrink.

    With each come the names of the exercises that have them.
    """
    found = []
    for b, block in _in_full(plan):
        cuts = [_unshrunk(block, ms) for ms in _windows_by(b, block, within) if ms < 0]
        if cuts and all(cuts):
            found.append((b, cuts[-1]))
    return found


def window_sites(b: int, block: Block) -> tuple[Site, ...]:
    """Return all windows of a block (from 0)."""
    return tuple(
        Site(("block", b, "exercise", e), "work", exercise.work)
        for e, exercise in enumerate(block.exercises)
    )


def _windows_by(b: int, block: Block, within: Bounds) -> tuple[int, ...]:
    """Return by how much all windows of a block may move, whatever is asked for in them."""
    sites = window_sites(b, block)
    allowed = [
        _amounts(now, within.windows, WINDOWS, "work_ms" in within.said, 0)
        for site in sites
        for now in site.values
    ]
    return _common(sites, allowed, 0)


def _unshrunk(block: Block, by: int) -> tuple[str, ...]:
    """Return the exercises whose targets and goals can't all shrink with their windows."""
    cut = ((e, tuple(ms + by for ms in e.work.values)) for e in block.exercises)
    return tuple(e.name for e, ms in cut if not can_shrink(e, PerRound(ms, len(ms) > 1)))


def _rounds(plan: Plan, within: Bounds) -> Iterator[Lever]:
    for b, block in _in_full(plan):
        site = Site(("block", b), "rounds_said", block.rounds)
        by = _rounds_by(block, within)
        yield Lever("rounds", f"rounds of {block_words(plan, b)}", b, (site,), by)


def _rounds_by(block: Block, within: Bounds) -> tuple[int, ...]:
    if any(lists_of(task) for exercise in block.exercises for task, _ in each_task(exercise)):
        return (0,)  # a list says each round
    by = _amounts(block.rounds, within.rounds, ONE, "rounds" in within.said, 1)
    return by if within.more_rounds else tuple(n for n in by if n <= 0) or (0,)


def _amounts(now: int, within: Range, step: Step, strict: bool, least: int) -> tuple[int, ...]:
    """Return by how much a value may be moved.

    Bounds that were not said give way to what the plan says; what is between it and the bounds is
    allowed too, but a pause of 0 stays 0 or comes within them. A value is 0 or at least ``least``.
    """
    low, high = within
    if not strict and now:
        low, high = min(low, now), max(high, now)
    values = set(range(now - (now - low) // step.size * step.size, high + 1, step.size))
    if step.ends or not values:
        values |= {low, high}
    if not strict:
        values.add(now)
    values = {v for v in values if v in (0, now) or v >= least}
    return tuple(sorted(v - now for v in values)) or (0,)


def _common(sites: tuple[Site, ...], allowed: list[tuple[int, ...]], least: int) -> tuple[int, ...]:
    """Return the amounts that all sites allow and that keep them from falling below a least."""
    floor = max(min(0, least - now) for site in sites for now in site.values)
    both = set.intersection(*map(set, allowed))
    return tuple(sorted(by for by in both if by >= floor)) or (0,)
