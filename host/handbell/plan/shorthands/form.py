"""What every short form of a block is, and how its faults are told."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, ClassVar

from pydantic import BaseModel, ConfigDict, ValidationError

from handbell.plan.agreement import Fault, Place
from handbell.plan.texts import did_you_mean

Table = dict[str, Any]

_EXAMPLES = {
    "name": '"Push-up"',
    "minutes": "12",
    "work_s": "20",
    "leg_s": "30",
    "legs": "6",
    "from": "2",
    "to": "10",
}
_ANY_WORK_S = 60


class Short(BaseModel):
    """A short form. ``block_has`` and ``exercise_has`` are keys it sets by itself, and why."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)
    block_has: ClassVar[Mapping[str, str]] = {}
    exercise_has: ClassVar[Mapping[str, str]] = {}
    exercise_takes: ClassVar[Mapping[str, Any]] = {}  # keys of its own in an exercise
    named_by_list: ClassVar[bool] = False  # without a name it is called by its exercises
    asks_each: ClassVar[bool] = True  # each exercise is asked for by itself, as its keys say

    @classmethod
    def early_faults(cls, block: Table, exercises: list[Table]) -> Iterator[Fault]:
        """Yield what is wrong whatever the form's own keys say; places are below the block."""
        yield from _set_twice(block, cls.block_has)
        for e, exercise in enumerate(exercises):
            for place, fault in _set_twice(exercise, cls.exercise_has):
                yield ("exercise", e, *place), fault

    def faults(self, block: Table, exercises: list[Table]) -> Iterator[Fault]:
        """Yield what else the form can't make a block of."""
        yield from ()

    def spelt_out(self, block: Table, exercises: list[Table]) -> Table:
        """Return the block, given its other keys and its exercises."""
        raise NotImplementedError

    @classmethod
    def stand_in(cls, block: Table, exercises: list[Table]) -> Table:
        """Return a block in place of one with faults, so that the faults of its rest are found."""
        taken = {*cls.exercise_has, *cls.exercise_takes}
        kept = [{k: v for k, v in e.items() if k not in taken} for e in exercises]
        windows = [{"work_s": _ANY_WORK_S, **exercise} for exercise in kept or [{"name": "-"}]]
        table = {key: value for key, value in block.items() if key not in cls.block_has}
        return {**table, "exercise": windows}

    @classmethod
    def place_back(cls, place: Place) -> Place:
        """Return where the coach wrote what has a place in the block that was spelt out."""
        return place


def found(error: ValidationError, known: Iterable[str] = ()) -> Iterator[Fault]:
    """Yield the faults of a table with plain values, keys that it lacks, or that it can't have."""
    for part in error.errors(include_url=False):
        place = part["loc"]
        key = str(place[-1]) if place else ""
        if part["type"] == "missing":
            yield place[:-1], f"{key} is missing; write {key} = {_EXAMPLES.get(key, '...')}"
        elif part["type"] == "extra_forbidden":
            yield place, f"no such key in this form of block; {did_you_mean(key, [*known])}"
        else:
            yield place, str(part["ctx"]["error"])


def own_keys(form: type[BaseModel]) -> list[str]:
    """Return the keys of a table, as the file has them."""
    return [field.alias or name for name, field in form.model_fields.items()]


def _set_twice(table: Table, has: Mapping[str, str]) -> Iterator[Fault]:
    for key, why in has.items():
        if key in table:
            yield (key,), f"{why}; take it out"
