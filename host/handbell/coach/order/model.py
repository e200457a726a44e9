"""A rotation of so many steps as a model for the solver: a yes or no for each group, station, step.

It says what the demands say and nothing else; ``schedule`` asks it with more and more steps.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from handbell.coach.solver import Answer, new_model, search

from .demands import WAITS, Demands

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import IntVar

Places = tuple[tuple[int, ...], ...]
Costs = Mapping[tuple[int, int], int]
Ends = tuple[Costs, Costs]


class Rotation:
    """The model of one set of demands in a number of steps."""

    def __init__(self, demands: Demands, steps: int) -> None:
        self._demands = demands
        self._steps = range(steps)
        self._model = new_model()
        self._is: dict[tuple[int, int, int], IntVar] = {
            (g, s, t): self._model.new_bool_var("")
            for g, group in enumerate(demands.groups)
            for s, visits in enumerate(group.visits)
            for t in self._steps
            if visits and self._open(s, t)
        }
        self._visits()
        self._stations()
        self._kit()
        self._never_after()
        self._ends()
        self._alternate()

    def find(self, seconds: float) -> tuple[Answer, Places]:
        """Search for a schedule; the places mean something only when one was found."""
        answer = search(self._model, seconds)
        places: Places = ()
        if answer.found:
            places = tuple(
                tuple(self._place(answer, g, t) for t in self._steps)
                for g in range(len(self._demands.groups))
            )
        return answer, places

    def wait_at_most(self, steps: int) -> None:
        """Demand also that nobody waits longer than so many steps on end."""
        for g, group in enumerate(self._demands.groups):
            if any(group.visits):
                for t in self._steps[: len(self._steps) - steps]:
                    later = range(t, t + steps + 1)
                    self._model.add_at_least_one(x for u in later for x in self._works(g, u))

    def prefer(self, soon: Costs, waits: int, coming: Costs, now: Places) -> None:
        """Ask for little cost of pairs of stations; ``now`` is a schedule that does.

        ``soon`` is what two cost with at most so many ``waits`` between them, ``coming`` what the
        second costs where the first is the last one before it, however long the wait.
        """
        terms = []
        for (first, second), cost in soon.items():
            for between in range(waits + 1):
                for g, t, u in self._following(first, second, between):
                    steps = ((t + n) % len(self._steps) for n in range(1, between + 1))
                    works = [x for step in steps for x in self._works(g, step)]
                    here, then = self._is[g, first, t], self._is[g, second, u]
                    terms.append(cost * self._both(here, then, works))
        for g in range(len(self._demands.groups)) if coming else ():
            last = self._last(g)
            for (first, second), cost in coming.items():
                for t in self._steps:
                    before = (first, (t - 1) % len(self._steps))
                    if before in last and (g, second, t) in self._is and self._is_linked(t):
                        terms.append(cost * self._both(last[before], self._is[g, second, t]))
        for (g, s, t), there in self._is.items():
            self._model.add_hint(there, now[g][t] == s)
        self._model.minimize(_sum(terms))

    def _both(self, one: IntVar, other: IntVar, unless: Iterable[IntVar] = ()) -> IntVar:
        """Return what is true at least where both are, and nothing of what may excuse it."""
        both = self._model.new_bool_var("")
        self._model.add_bool_or(~one, ~other, both, *unless)
        return both

    def _is_linked(self, step: int) -> bool:
        """Return whether a step has one before it."""
        return step > 0 or self._demands.repeats

    def _last(self, group: int) -> dict[tuple[int, int], IntVar]:
        """Return, for stations and steps, what is true where it's the last a group has been at."""
        stations = [s for s, visits in enumerate(self._demands.groups[group].visits) if visits]
        last = {(s, t): self._model.new_bool_var("") for s in stations for t in self._steps}
        for t in self._steps:
            works = self._works(group, t)
            self._model.add_at_most_one(last[s, t] for s in stations)
            for s in stations:
                if (group, s, t) in self._is:
                    self._model.add_implication(self._is[group, s, t], last[s, t])
                if self._is_linked(t):
                    before = last[s, (t - 1) % len(self._steps)]
                    self._model.add_bool_or(~before, last[s, t], *works)
        return last

    def _open(self, station: int, step: int) -> bool:
        steps = self._demands.stations[station].steps
        return steps is None or step in steps

    def _place(self, answer: Answer, group: int, step: int) -> int:
        for s in range(len(self._demands.stations)):
            if (group, s, step) in self._is and answer.value(self._is[group, s, step]):
                return s
        return WAITS

    def _works(self, group: int, step: int) -> list[IntVar]:
        """Return what is true when a group works in a step."""
        stations = range(len(self._demands.stations))
        keys = ((group, s, step) for s in stations)
        return [self._is[key] for key in keys if key in self._is]

    def _at(self, station: int, step: int) -> Iterator[tuple[int, IntVar]]:
        """Yield every group that may be at a station in a step."""
        for g in range(len(self._demands.groups)):
            if (g, station, step) in self._is:
                yield g, self._is[g, station, step]

    def _visits(self) -> None:
        for g, group in enumerate(self._demands.groups):
            for t in self._steps:
                self._model.add_at_most_one(self._works(g, t))
            for s, visits in enumerate(group.visits):
                there = [self._is[g, s, t] for t in self._steps if (g, s, t) in self._is]
                self._model.add(_sum(there) == visits)

    def _stations(self) -> None:
        for s, station in enumerate(self._demands.stations):
            for t in self._steps:
                here = list(self._at(s, t))
                if station.groups_most is not None:
                    self._model.add(_sum(x for _, x in here) <= station.groups_most)
                if station.room is not None:
                    people = (self._demands.groups[g].people * x for g, x in here)
                    self._model.add(_sum(people) <= station.room)

    def _kit(self) -> None:
        demands = self._demands
        for kit, count in demands.kit.items():
            for t in self._steps:
                used = (
                    demands.use(kit, s, g) * x
                    for s in range(len(demands.stations))
                    for g, x in self._at(s, t)
                    if demands.use(kit, s, g)
                )
                self._model.add(_sum(used) <= count)

    def _never_after(self) -> None:
        for first, second in self._demands.never_after:
            for g, t, u in self._following(first, second):
                if (first, second) in self._demands.groups[g].may:
                    continue
                self._model.add_at_most_one(self._is[g, first, t], self._is[g, second, u])

    def _ends(self) -> None:
        for g, group in enumerate(self._demands.groups):
            for ruled_out, is_last in ((group.not_first, False), (group.not_last, True)):
                for s, waits in ruled_out:
                    for there, works in self._at_end(g, s, waits, is_last):
                        self._model.add_bool_or(~there, *works)

    def _at_end(
        self, group: int, station: int, waits: int, is_last: bool
    ) -> Iterator[tuple[IntVar, list[IntVar]]]:
        """Yield what is true where a group is at a station so many steps from an end, if it may.

        With it comes what is true where it works nearer to the end.
        """
        steps = self._steps[::-1] if is_last else self._steps
        if waits < len(steps) and (group, station, steps[waits]) in self._is:
            nearer = [x for t in steps[:waits] for x in self._works(group, t)]
            yield self._is[group, station, steps[waits]], nearer

    def _following(
        self, first: int, second: int, between: int = 0
    ) -> Iterator[tuple[int, int, int]]:
        """Yield groups and steps in which one may be at a station and soon after at another.

        So many steps lie ``between``.
        """
        steps = len(self._steps)
        follows = [
            (t, (t + between + 1) % steps)
            for t in range(steps if self._demands.repeats else steps - between - 1)
            if between + 1 < steps
        ]
        for g in range(len(self._demands.groups)):
            for t, u in follows:
                if (g, first, t) in self._is and (g, second, u) in self._is:
                    yield g, t, u

    def _alternate(self) -> None:
        for first, second in self._demands.alternate:
            done_first: list[IntVar] = []
            done_second: list[IntVar] = []
            for t in self._steps:
                now_first, now_second = self._works(first, t), self._works(second, t)
                self._model.add_at_most_one(now_first + now_second)
                done_first += now_first
                done_second += now_second
                self._ahead_at_most(second, done_second, first, done_first, 0)
                self._ahead_at_most(first, done_first, second, done_second, 1)

    def _ahead_at_most(
        self, group: int, done: list[IntVar], other: int, others: list[IntVar], by: int
    ) -> None:
        """Let a group be ``by`` turns ahead of the other at most, until the other has none left."""
        groups = self._demands.groups
        turns, others_turns = sum(groups[group].visits), sum(groups[other].visits)
        ahead = _sum(done) - _sum(others) <= by
        if turns <= others_turns + by:
            self._model.add(ahead)
            return
        is_over = self._model.new_bool_var("")
        self._model.add(_sum(others) == others_turns).only_enforce_if(is_over)
        self._model.add(ahead).only_enforce_if(~is_over)


def steps_least(demands: Demands) -> int:
    """Return a number of steps that no schedule can undercut, by counting."""
    groups, stations = demands.groups, demands.stations
    bounds = [sum(group.visits) for group in groups]
    for first, second in demands.alternate:
        bounds.append(sum(groups[first].visits) + sum(groups[second].visits))
    for s, station in enumerate(stations):
        visits = [(group.visits[s], group.people) for group in groups]
        if station.groups_most is not None:
            bounds.append(_shares(sum(n for n, _ in visits), station.groups_most))
        if station.room is not None:
            bounds.append(_shares(sum(n * people for n, people in visits), station.room))
    for kit, count in demands.kit.items():
        used = sum(
            demands.use(kit, s, g) * group.visits[s]
            for g, group in enumerate(groups)
            for s in range(len(stations))
        )
        bounds.append(_shares(used, count))
    return max(1, *bounds)


def _shares(amount: int, size: int) -> int:
    return math.ceil(amount / size) if amount else 0


def _sum(parts: Iterable[Any]) -> Any:
    """Return the sum of expressions of the solver, which has types of its own for it."""
    from ortools.sat.python.cp_model import LinearExpr

    return LinearExpr.sum(list(parts))
