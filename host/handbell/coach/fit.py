"""Making a class last exactly its slot, by moving what the coach allows and as little as can be.

    fit(plan, slot_ms) -> Fitted | Misfit

The slot runs from the start of the lead-in to the end of the cool-down; a gate counts as nothing.
What is moved first: breaks, then rests, then warm-up and cool-down, then windows by 5 s, then
rounds. A later one moves only as far as the earlier ones can't do without it. For first-timers
rounds come before windows, no window gets longer, and targets shrink with theirs.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from itertools import product

from handbell.coach.fit_levers import (
    SECONDS,
    SECONDS_OR_ENDS,
    TENTHS,
    Lever,
    bounds,
    changed,
    levers,
    moved,
)
from handbell.coach.fit_model import Fitting, sums
from handbell.coach.fit_targets import Eased, eased
from handbell.compile.expand import Schedule, expand
from handbell.plan.model import Plan


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
    before: Schedule
    after: Schedule

    @property
    def moved(self) -> list[Move]:
        """What was moved, in the order of the levels."""
        return [_move(lever, by) for lever, by in self.moves.items()]


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

    ``keep`` names levels left alone, besides those that the plan keeps; for ``first_timers`` there
    is more rest: 15 s or half as much again after each window, and breaks of a minute; rounds go
    before windows, and nobody owes more reps a second than before. Times move by whole seconds, by
    tenths only when they must. Raises SolverMissingError.
    """
    before = expand(plan)
    within = bounds(plan.fit, first_timers)
    kept = {*keep, *plan.fit.keep}
    for step, keeping in product((SECONDS, TENTHS), _ways(kept, first_timers)):
        of = sums(plan, levers(plan, within, keeping, step))
        moves = Fitting(of, within.order).exactly(slot_ms)
        if moves is not None:
            fitted = moved(plan, moves)
            less = eased(plan, fitted) if first_timers else []
            for one in less:
                fitted = changed(fitted, one.place, one.key, one.to)
            return Fitted(fitted, moves, less, before, expand(fitted))
    extremes = Fitting(sums(plan, levers(plan, within, kept, SECONDS_OR_ENDS)), within.order)
    return Misfit(slot_ms, *extremes.nearest(slot_ms))


def _ways(kept: set[str], first_timers: bool) -> list[set[str]]:
    """Return what to keep, at the first try and then: first-timers' windows are cut last of all."""
    return [kept | {"windows"}, kept] if first_timers and "windows" not in kept else [kept]


def _move(lever: Lever, by: int) -> Move:
    was = tuple(value for site in lever.sites for value in site.values)
    if len(set(was)) == 1:
        was = was[:1]
    return Move(lever.level, lever.what, was, tuple(value + by for value in was))
