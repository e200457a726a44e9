"""The constraint solver, CP-SAT of OR-Tools, loaded only when something is to be solved."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from handbell.base.errors import HandbellError
from handbell.base.extras import install

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

SEED = 1
PLAIN_SHARE = 0.3
T = TypeVar("T")

_here = threading.local()


class SolverMissingError(HandbellError):
    """OR-Tools isn't installed."""

    def __init__(self) -> None:
        super().__init__(
            "Fitting and ordering need a solver that isn't installed",
            install("planning"),
        )


@dataclass(frozen=True)
class Answer:
    """What came of a search: ``found`` a solution, ``proved`` it best, or that there is none.

    ``value`` reads a variable or an expression in the solution.
    """

    found: bool
    proved: bool
    value: Callable[[Any], int]


class StoppedError(HandbellError):
    """A search was stopped."""


class Stop:
    """Ends, from any thread, the searches of a job that runs ``within`` it."""

    def __init__(self) -> None:
        self._wanted = False
        self._solver: cp_model.CpSolver | None = None

    def within(self, job: Callable[[], T]) -> T:
        """Run a job in this thread; its next search raises StoppedError once this was called."""
        _here.stop = self
        try:
            return job()
        finally:
            _here.stop = None

    def __call__(self) -> None:
        """End the search that runs, and let none begin."""
        self._wanted = True
        solver = self._solver
        if solver is not None:
            solver.stop_search()

    def follow(self, solver: cp_model.CpSolver | None) -> None:
        """Take note of what searches now; raises StoppedError when it must not."""
        self._solver = solver
        if self._wanted:
            raise StoppedError("The search was stopped")


def new_model() -> cp_model.CpModel:
    """Return an empty model; raises SolverMissingError."""
    try:
        from ortools.sat.python import cp_model
    except ImportError:
        raise SolverMissingError from None
    return cp_model.CpModel()


def search(model: cp_model.CpModel, seconds: float) -> Answer:
    """Solve a model; the same model has the same answer each time.

    The usual method finds most schedules at once and can be stuck on a proof, so it has a share of
    the time first; then several methods take turns.
    """
    answer = _search(model, seconds * PLAIN_SHARE, take_turns=False)
    if answer.proved:
        return answer
    again = _search(model, seconds * (1 - PLAIN_SHARE), take_turns=True)
    return again if again.found or again.proved else answer


def _search(model: cp_model.CpModel, seconds: float, take_turns: bool) -> Answer:
    from ortools.sat.python import cp_model

    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = max(seconds, 0.01)
    solver.parameters.num_workers = 1
    solver.parameters.interleave_search = take_turns
    solver.parameters.random_seed = SEED
    solver.parameters.catch_sigint_signal = False  # Ctrl-C is for the whole command
    stop: Stop | None = getattr(_here, "stop", None)
    if stop is not None:
        stop.follow(solver)
    status = solver.solve(model)
    if stop is not None:
        stop.follow(None)
    if status == cp_model.MODEL_INVALID:
        raise ValueError(model.validate())
    found = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    return Answer(found, status in (cp_model.OPTIMAL, cp_model.INFEASIBLE), solver.value)
