"""A plan's numbers, with what says that some of them are estimates."""

from __future__ import annotations

from dataclasses import dataclass

from handbell.coach.library.shelf import Library
from handbell.coach.numbers.numbers import ENERGY_SOURCE, REPS_SOURCE, Range, Share, numbers_of
from handbell.coach.numbers.work_rest import TABLE_SOURCE, Bout
from handbell.compile.build import CompiledClass

ESTIMATED = ("likely", "landings", "earned_rest_ms", "kcal_per_kg")


@dataclass(frozen=True)
class PlanNumbers:
    """What each sort of person does: ``shares``, and of each of them its density.

    ``estimated`` names the fields that are no exact sums; ``sources`` says where those come from,
    when that was asked for.
    """

    shares: tuple[Share, ...]
    density_percent: tuple[float, ...]
    rest_by_pattern_ms: dict[str, Range]
    bouts: tuple[Bout, ...]
    estimated: tuple[str, ...]
    sources: tuple[str, ...]


def plan_numbers(built: CompiledClass, library: Library, sources: bool = False) -> PlanNumbers:
    """Return a class's numbers; exercises that the library lacks count only as time."""
    numbers = numbers_of(built, library)
    return PlanNumbers(
        numbers.shares,
        tuple(round(share.density_percent, 3) for share in numbers.shares),
        numbers.rest_by_pattern_ms,
        numbers.bouts,
        ESTIMATED,
        (REPS_SOURCE, ENERGY_SOURCE, TABLE_SOURCE) if sources else (),
    )
