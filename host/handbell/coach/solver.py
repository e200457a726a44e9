"""The constraint solver, CP-SAT of OR-Tools, loaded only when something is to be solved."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from handbell.base.errors import HandbellError
from handbell.base.extras import install

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

SEED = 1
PLAIN_SHARE = 0.3


class SolverMissingError(HandbellError):
    """OR-Tools isn't installed."""

    def __init__(self) -> None:
        super().__init__(
            "Fitting and sharing need a solver that isn't installed",
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
    status = solver.solve(model)
    if status == cp_model.MODEL_INVALID:
        raise ValueError(model.validate())
    found = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    return Answer(found, status in (cp_model.OPTIMAL, cp_model.INFEASIBLE), solver.value)
