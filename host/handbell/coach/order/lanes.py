"""Lanes that go round the same exercises and begin at different ones, so that kit suffices."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from handbell.coach.solver import new_model, search

from .demands import Demands

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import IntVar

Places = tuple[tuple[int, ...], ...]

SECONDS = 5.0


def turned(demands: Demands, now: Places) -> Places:
    """Return an order for each lane in which exercises that may change places go round.

    As few lanes as can be leave the order that they have now, and the later ones before the
    earlier; then no more than now do the same at once, if it can be. Empty when going round
    doesn't do.
    """
    if demands.alternate:
        return ()
    turns = _Turns(demands, now)
    return turns.find()


class _Turns:
    """By how much each lane turns each cycle: the steps whose exercises may change places."""

    def __init__(self, demands: Demands, now: Places) -> None:
        self._demands = demands
        self._now = now
        self._steps = range(len(demands.stations))
        self._lanes = range(len(demands.groups))
        self._model = new_model()
        self._cycle = {
            step: tuple(sorted(demands.stations[step].steps or self._steps)) for step in self._steps
        }
        self._by: dict[tuple[int, tuple[int, ...], int], IntVar] = {
            (lane, cycle, turn): self._model.new_bool_var("")
            for lane in self._lanes
            for cycle in dict.fromkeys(self._cycle.values())
            for turn in range(len(cycle))
        }
        for lane in self._lanes:
            for cycle in set(self._cycle.values()):
                turns = range(len(cycle))
                self._model.add_exactly_one(self._by[lane, cycle, turn] for turn in turns)
        self._kit()
        self._never_after()
        self._ends()

    def find(self) -> Places:
        """Return the orders with the fewest and latest lanes moved, empty for none."""
        lanes = len(self._lanes)
        moved = sum(x for (_, _, turn), x in self._by.items() if turn)
        how_far = sum((lanes - lane) * turn * x for (lane, _, turn), x in self._by.items())
        most = lanes * lanes * len(self._steps) ** 2
        crowd = list(self._crowd())
        self._model.minimize(most * ((1 + lanes * len(crowd)) * moved + sum(crowd)) + how_far)
        answer = search(self._model, SECONDS)
        if not answer.found:
            return ()
        return tuple(
            tuple(
                next(e for e in self._cycle[step] if answer.value(self._does(lane, step, e)))
                for step in self._steps
            )
            for lane in self._lanes
        )

    def _does(self, lane: int, step: int, exercise: int) -> IntVar:
        """Return what is true when a lane does an exercise of the step's cycle in the step."""
        cycle = self._cycle[step]
        now = [self._now[lane][n] for n in cycle]
        turn = (now.index(exercise) - cycle.index(step)) % len(cycle)
        return self._by[lane, cycle, turn]

    def _crowd(self) -> Iterator[IntVar]:
        """Yield how many lanes more than ever now do an exercise in a step."""
        lanes = len(self._lanes)
        for e in self._steps:
            most = max(step.count(e) for step in zip(*self._now, strict=True))
            for step in self._cycle[e] if most < lanes else ():
                more = self._model.new_int_var(0, lanes, "")
                does = sum(self._does(lane, step, e) for lane in self._lanes)
                self._model.add(does <= most + more)
                yield more

    def _kit(self) -> None:
        for kit, count in self._demands.kit.items():
            for step in self._steps:
                used = sum(
                    self._demands.use(kit, e, lane) * self._does(lane, step, e)
                    for lane in self._lanes
                    for e in self._cycle[step]
                )
                self._model.add(used <= count)

    def _never_after(self) -> None:
        follows = [(step, step + 1) for step in self._steps[:-1]]
        if self._demands.repeats and len(self._steps) > 1:
            follows.append((len(self._steps) - 1, 0))
        for first, second in self._demands.never_after:
            for now, then in follows:
                if first in self._cycle[now] and second in self._cycle[then]:
                    for lane in self._lanes:
                        if (first, second) not in self._demands.groups[lane].may:
                            self._model.add_bool_or(
                                ~self._does(lane, now, first), ~self._does(lane, then, second)
                            )

    def _ends(self) -> None:
        for lane, group in enumerate(self._demands.groups):
            for step, exercises in ((0, group.not_first), (len(self._steps) - 1, group.not_last)):
                for exercise, waits in exercises:
                    if not waits and exercise in self._cycle[step]:
                        self._model.add(self._does(lane, step, exercise) == 0)
