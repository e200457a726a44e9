"""An order near the one there is, where that breaks a demand, or begins or ends badly."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from .demands import WAITS, Clash, Demands, Schedule
from .ends import break_it, with_ends
from .lanes import turned
from .model import Ends, Places, Rotation
from .schedule import longest_of, longest_wait, solve
from .verify import broken

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import IntVar, LinearExpr

SECONDS = 20.0


def lane_orders(demands: Demands, seconds: float = SECONDS, now: Places = ()) -> Schedule | Clash:
    """Return the order of exercises for each lane: ``now``, the plan's own, where it can be.

    Else as few lanes as can be begin further on in it, going round; else as few do another.
    """
    now = now or (tuple(range(len(demands.stations))),) * len(demands.groups)
    if not broken(demands, Schedule(now, shortest=True)):
        return Schedule(now, shortest=True)
    if places := turned(demands, now):
        return Schedule(places, shortest=True)
    found = solve(demands, seconds)
    if isinstance(found, Clash):
        return found
    return Schedule(_Near(demands, now).spare([], seconds) or found.places, found.shortest)


def spare_lanes(demands: Demands, ends: Sequence[Ends], now: Places, seconds: float) -> Places:
    """Return orders of lanes, near the plan's own, that fewer break by how they begin and end.

    Empty when none was found.
    """
    places = _Near(demands, now).spare(ends, seconds)
    return (turned(with_ends(demands, ends, places), now) or places) if places else ()


def spare_groups(demands: Demands, ends: Sequence[Ends], now: Places, seconds: float) -> Places:
    """Return an order of a rotation that fewer break by how they begin and end.

    Each goes on as somebody does now and begins elsewhere, unless another order spares more. Nobody
    waits longer on end than now. Empty when none was found.
    """
    waits = longest_of(now)
    turns = {row[n:] + row[:n] for row in now for n in range(len(row))}
    model = _Near(demands, now)
    model.take_rows(sorted(row for row in turns if row in now or longest_wait(row) <= waits))
    near = model.spare(ends, seconds)
    if near and not break_it(ends, near):
        return near
    model = _Near(demands, near or now)
    model.wait_at_most(waits)
    far = model.spare(ends, seconds)
    return far if not near or (far and break_it(ends, far) < break_it(ends, near)) else near


class _Near(Rotation):
    """The model of a rotation of as many steps as an order that there is."""

    def __init__(self, demands: Demands, now: Places) -> None:
        super().__init__(demands, len(now[0]))
        self._now = now

    def take_rows(self, rows: Sequence[tuple[int, ...]]) -> None:
        """Demand also that each group does one of some rows."""
        for g in range(len(self._now)):
            takes = {row: self._model.new_bool_var("") for row in rows if self._can(g, row)}
            self._model.add_exactly_one(takes.values())
            for (group, s, t), there in self._is.items():
                if group == g:
                    self._model.add(sum(x for row, x in takes.items() if row[t] == s) == there)

    def spare(self, ends: Sequence[Ends], seconds: float) -> Places:
        """Search for little cost of how groups begin and end, and then for what is near.

        Near is that most do the same as now, then that no more are anywhere at once than now.
        """
        moved, crowd = list(self._moved()), list(self._crowd())
        weight = 1 + len(self._now) * len(crowd)
        costs = sum(self._costs(ends)) * (1 + len(moved)) + sum(moved)
        for (g, s, t), there in self._is.items():
            self._model.add_hint(there, self._now[g][t] == s)
        self._model.minimize(costs * weight + sum(crowd))
        return self.find(seconds)[1]

    def _can(self, group: int, row: tuple[int, ...]) -> bool:
        return all(s == WAITS or (group, s, t) in self._is for t, s in enumerate(row))

    def _costs(self, ends: Sequence[Ends]) -> Iterator[LinearExpr]:
        """Yield how many each way to begin or end costs where it is taken."""
        for g, both in enumerate(ends):
            for costs, is_last in zip(both, (False, True), strict=True):
                for (s, waits), cost in costs.items():
                    for there, works in self._at_end(g, s, waits, is_last):
                        begins = self._model.new_bool_var("")
                        self._model.add_bool_or(~there, begins, *works)
                        yield cost * begins

    def _moved(self) -> Iterator[IntVar]:
        """Yield for each group what is true where it doesn't do the same as now."""
        for g, row in enumerate(self._now):
            if self._can(g, row):
                moved = self._model.new_bool_var("")
                for t, s in enumerate(row):
                    if s != WAITS:
                        self._model.add_implication(~moved, self._is[g, s, t])
                yield moved

    def _crowd(self) -> Iterator[IntVar]:
        """Yield how many groups more than ever now are at a station in a step."""
        size = len(self._now)
        for s, station in enumerate(self._demands.stations):
            most = max(step.count(s) for step in zip(*self._now, strict=True))
            if station.groups_most is None and most < size:
                for t in self._steps:
                    more = self._model.new_int_var(0, size, "")
                    self._model.add(sum(x for _, x in self._at(s, t)) <= most + more)
                    yield more
