"""What of a plan can be moved to fit it to a slot, and a plan with some of it moved.

A lever moves one thing, or several that belong together, by the same amount. Amounts are ms, or
rounds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from handbell.plan.agreement import Place
from handbell.plan.model import PerRound, Plan

from .promise import Pause

Range = tuple[int, int]


@dataclass(frozen=True)
class Site:
    """One value of the plan: the table it stands in, its field, and what it is now."""

    place: Place
    field: str
    now: int | PerRound

    def plus(self, by: int) -> int | PerRound:
        """Return the value moved by an amount."""
        if isinstance(self.now, PerRound):
            return PerRound(tuple(value + by for value in self.now.values), self.now.listed)
        return self.now + by

    @property
    def values(self) -> tuple[int, ...]:
        """The value, or one for each round."""
        return self.now.values if isinstance(self.now, PerRound) else (self.now,)


@dataclass(frozen=True)
class Lever:
    """Something to move: ``level`` is one of ``LEVELS``, ``block`` from 0 or None for the class.

    ``by`` are the amounts it may be moved by, in order.
    """

    level: str
    what: str
    block: int | None
    sites: tuple[Site, ...]
    by: tuple[int, ...]


def moved(plan: Plan, moves: Mapping[Lever, int]) -> Plan:
    """Return a plan with levers moved; it is not checked."""
    for lever, by in moves.items():
        for site in lever.sites:
            plan = changed(plan, site.place, site.field, site.plus(by))
    return plan


def changed(plan: Plan, place: Place, field: str, value: object) -> Plan:
    """Return a plan with another value in a field of the table at a place; it is not checked."""
    made: Plan = _with(plan, place, field, value)
    return made


def _with(table: Any, place: Place, field: str, value: object) -> Any:
    if not place:
        return table.model_copy(update={field: value})
    key, index, *deeper = place
    name = {"block": "blocks", "exercise": "exercises"}.get(str(key), str(key))
    rows = list(getattr(table, name))
    rows[int(index)] = _with(rows[int(index)], tuple(deeper), field, value)
    return table.model_copy(update={name: tuple(rows)})


def block_words(plan: Plan, b: int) -> str:
    """Return what a block (from 0) is called: its number, and its name when it has one."""
    name = plan.blocks[b].name
    return f"block {b + 1}, {name}" if name else f"block {b + 1}"


def pause_words(plan: Plan, pause: Pause) -> str:
    """Return what a pause is called."""
    of = block_words(plan, pause.block)
    if pause.exercise is not None:
        return f"rest after {plan.blocks[pause.block].exercises[pause.exercise].name}, {of}"
    words = {"break": "break after", "rest": "rest in", "rounds": "rest between rounds of"}
    return f"{words[pause.kind]} {of}"
