"""What every short form of a block is, and how its faults are told."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, ClassVar

from pydantic import BaseModel, ConfigDict, ValidationError

from handbell.plan.rules import Fault

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


class Short(BaseModel):
    """A short form. ``block_has`` and ``exercise_has`` are keys it sets by itself, and why."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)
    block_has: ClassVar[Mapping[str, str]] = {}
    exercise_has: ClassVar[Mapping[str, str]] = {}
    asks_each: ClassVar[bool] = True  # each exercise is asked for by itself, as its keys say
    exercise_takes: ClassVar[Mapping[str, Any]] = {}  # keys of its own in an exercise

    def faults(self, block: Table, exercises: list[Table]) -> Iterator[Fault]:
        """Yield what the form can't make a block of, besides ``set_twice``; places are below it."""
        yield from ()

    @classmethod
    def set_twice(cls, block: Table, exercises: list[Table]) -> Iterator[Fault]:
        """Yield the keys that the form sets by itself."""
        yield from _set_twice(block, cls.block_has)
        for e, exercise in enumerate(exercises):
            for place, fault in _set_twice(exercise, cls.exercise_has):
                yield ("exercise", e, *place), fault

    def spelt_out(self, block: Table, exercises: list[Table]) -> Table:
        """Return the block, given its other keys and its exercises."""
        raise NotImplementedError


def found(error: ValidationError, known: Iterable[str] = ()) -> Iterator[Fault]:
    """Yield the faults of a table with plain values, keys that it lacks, or that it can't have."""
    for part in error.errors(include_url=False):
        place, key = part["loc"], str(part["loc"][-1])
        if part["type"] == "missing":
            yield place[:-1], f"{key} is missing; write {key} = {_EXAMPLES.get(key, '...')}"
        elif part["type"] == "extra_forbidden":
            yield place, f"no such key in this form of block; known are {', '.join(known)}"
        else:
            yield place, str(part["ctx"]["error"])


def own_keys(form: type[BaseModel]) -> list[str]:
    """Return the keys of a table, as the file has them."""
    return [field.alias or name for name, field in form.model_fields.items()]


def _set_twice(table: Table, has: Mapping[str, str]) -> Iterator[Fault]:
    for key, why in has.items():
        if key in table:
            yield (key,), f"{why}; take it out"
