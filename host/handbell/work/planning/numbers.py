"""A plan's numbers, with what says that some of them are estimates."""

from __future__ import annotations

from dataclasses import dataclass

from handbell.base.words import few
from handbell.coach.library.shelf import Library
from handbell.coach.numbers.efforts import earners
from handbell.coach.numbers.numbers import ENERGY_SOURCE, REPS_SOURCE, Range, Share, numbers_of
from handbell.coach.numbers.work_rest import TABLE_SOURCE, Bout
from handbell.compile.build import CompiledClass

EARNED = "what targets leave of their windows"
EARNERS_TOLD = 4
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


def earned_words(built: CompiledClass, station: int | None = None) -> str:
    """Return what besides a class's pauses is rest, and for whom if not for all; "" for nothing.

    With a ``station`` it is said of those who come to it.
    """
    who = earners(built, station)
    if who is None:
        return EARNED
    return f"{EARNED}, for {', '.join(few(who, EARNERS_TOLD))}" if who else ""


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
