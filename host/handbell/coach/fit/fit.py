"""Making a class last exactly its slot, by moving what the coach allows and as little as can be.

    fit(plan, slot_ms) -> Fitted | Misfit

The slot runs from the start of the lead-in to the end of the cool-down; a gate counts as nothing.
What is moved first: breaks, then rests, then warm-up and cool-down, then windows by 5 s, then
rounds. A later one moves only as far as the earlier ones can't do without it; then pauses and the
warm-up end at whole fives of seconds where that is possible by moving nothing else. For
first-timers rounds come before windows, and what comes out keeps what ``fit_promise`` says, or is
no fit.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from itertools import product

from handbell.compile.expand import Course, expand
from handbell.plan.model import Plan

from .fives import around, odd_ones
from .levers import Lever, changed, moved
from .model import Fitting, more_rest_ms, slot_ms_of, sums
from .movable import SECONDS, SECONDS_OR_ENDS, TENTHS, Bounds, bounds, levers
from .promise import broken
from .targets import Eased, eased


@dataclass(frozen=True)
class Move:
    """One thing moved: ``was`` and ``to`` in ms, or in rounds; lists have one a value."""

    level: str
    what: str
    was: tuple[int, ...]
    to: tuple[int, ...]


@dataclass(frozen=True)
class Fitted:
    """A plan that lasts exactly the slot: what was moved, which targets shrank with their windows.

    ``before`` and ``after`` are its times.
    """

    plan: Plan
    moves: dict[Lever, int]
    eased: list[Eased]
    before: Course
    after: Course

    @property
    def moved(self) -> list[Move]:
        """What was moved, in the order of the levels."""
        return [move_of(lever, by) for lever, by in self.moves.items()]


@dataclass(frozen=True)
class Misfit:
    """A slot that can't be met: the longest class below it and the shortest above, or None."""

    slot_ms: int
    below_ms: int | None
    above_ms: int | None

    @property
    def nearest_ms(self) -> int:
        """The length nearest to the slot."""
        known = [ms for ms in (self.below_ms, self.above_ms) if ms is not None]
        return min(known, key=lambda ms: abs(ms - self.slot_ms))


def fit(
    plan: Plan, slot_ms: int, keep: Collection[str] = (), first_timers: bool = False
) -> Fitted | Misfit:
    """Return a plan fitted to a slot, or how near it can come.

    ``keep`` names levels left alone, besides those that the plan keeps; for ``first_timers`` the
    result keeps what they are promised. Times move by whole seconds, by tenths only when they must.
    Raises SolverMissingError.
    """
    before = expand(plan)
    kept = {*keep, *plan.fit.keep}
    ways = _ways(bounds(plan, first_timers), kept, plan)
    for step, (within, keeping) in product((SECONDS, TENTHS), ways):
        for moves in _exactly(plan, within, levers(plan, within, keeping, step), slot_ms):
            fitted = moved(plan, moves)
            less = eased(plan, fitted) if first_timers else []
            for one in less:
                fitted = changed(fitted, one.place, one.key, one.to)
            if not first_timers or not broken(plan, fitted, kept):
                return Fitted(fitted, moves, less, before, expand(fitted))
    far = ((within, levers(plan, within, keep, SECONDS_OR_ENDS)) for within, keep in ways)
    ends = [_fitting(plan, *way).nearest(slot_ms) for way in far]
    below = [ms for ms, _ in ends if ms is not None]
    above = [ms for _, ms in ends if ms is not None]
    return Misfit(slot_ms, max(below, default=None), min(above, default=None))


def _exactly(
    plan: Plan, within: Bounds, can_move: list[Lever], slot_ms: int
) -> Iterator[dict[Lever, int]]:
    """Yield moves that make a plan so long, the smallest last: before them any in more fives."""
    smallest = _fitting(plan, within, can_move).exactly(slot_ms)
    if smallest is None:
        return
    odd_most = odd_ones(smallest) - 1
    if odd_most >= 0:
        near = _fitting(plan, within, [*around(can_move, smallest)])
        moves = near.exactly(slot_ms, odd_most)
        if moves is not None:
            yield moves
    yield smallest


def _fitting(plan: Plan, within: Bounds, can_move: list[Lever]) -> Fitting:
    rest = sums(plan, can_move, more_rest_ms(plan)) if within.first_timers else None
    return Fitting(sums(plan, can_move, slot_ms_of), within.order, rest)


def _ways(within: Bounds, kept: set[str], plan: Plan) -> list[tuple[Bounds, set[str]]]:
    """Return the bounds and what to keep, at the first try and then.

    First-timers' windows are cut last of all, and never for more rounds.
    """
    if not within.first_timers or "windows" in kept:
        return [(within, kept)]
    ways = [(within, kept | {"windows"})]
    fewer = replace(within, more_rounds=False)
    if all(block.rounds >= within.rounds[0] for block in plan.blocks) or not within.more_rounds:
        ways.append((fewer, kept))
    return ways


def move_of(lever: Lever, by: int) -> Move:
    """Return what a lever moved by an amount does."""
    was = tuple(value for site in lever.sites for value in site.values)
    if len(set(was)) == 1:
        was = was[:1]
    return Move(lever.level, lever.what, was, tuple(value + by for value in was))
