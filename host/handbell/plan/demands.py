"""What a class may be fitted to and what it must share: bounds, kit counts, who may follow whom.

Checks raise ValueError with the rest of a sentence that begins with the value's place.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, Any

from pydantic import Field, PlainValidator, WithJsonSchema

from handbell.plan import values
from handbell.plan.agreement import Table
from handbell.plan.texts import tidy

KIT_MOST = 999
CAPACITY_MOST = 999
SPOT_MOST_M = 1000
ORDER_MOST = 200
MINUTES_MOST = 360

LEVELS = ("breaks", "rests", "warm-up", "windows", "rounds")  # the order in which fit moves them


@dataclass(frozen=True)
class KitNeed:
    """What an exercise takes of a sort of kit: one for each person, or ``count`` for a group."""

    kit: str
    count: int = 1
    each: bool = True


def _named(value: object, example: str) -> str:
    if not isinstance(value, str) or not tidy(value):
        raise ValueError(f"{values.shown(value)} is no name; write it in quotes, such as {example}")
    return tidy(value)


def spot(value: object) -> tuple[float, float]:
    """Return a place on the floor, ``[x, y]`` in metres."""
    example = "write metres along and across, such as [0, 4.5]"
    if not isinstance(value, list) or len(value) != 2:
        raise ValueError(f"{values.shown(value)} is no place; {example}")
    for number in value:
        if isinstance(number, bool) or not isinstance(number, int | float | Decimal):
            raise ValueError(f"{values.shown(number)} is no number; {example}")
        if not number == number or not -SPOT_MOST_M <= number <= SPOT_MOST_M:
            raise ValueError(f"{values.shown(number)} m is too far off; {example}")
    return (float(value[0]), float(value[1]))


def kit_counts(value: object) -> dict[str, int]:
    """Return how many there are of each sort of kit that is scarce."""
    if not isinstance(value, dict):
        raise ValueError(f'{values.shown(value)} is no table; write [kit], then "bench" = 2')
    counts = {}
    for name, count in value.items():
        try:
            counts[_named(name, '"bench"')] = values.whole(count, 0, KIT_MOST)
        except ValueError as error:
            raise ValueError(f"{values.shown(name)}: {error}") from None
    return counts


def kit_needs(value: object) -> tuple[KitNeed, ...]:
    """Return what an exercise needs: ``["bench"]`` one a person, ``{ bench = 1 }`` for a group."""
    if isinstance(value, list):
        return tuple(KitNeed(_named(name, '"bench"')) for name in value)
    if isinstance(value, dict):
        return tuple(
            KitNeed(_named(name, '"bench"'), values.whole(count, 1, KIT_MOST), each=False)
            for name, count in value.items()
        )
    raise ValueError(
        f'{values.shown(value)} is no kit; write ["bench"] for one a person, '
        "or { bench = 1 } for one that a group shares"
    )


def name_pairs(value: object) -> tuple[tuple[str, str], ...]:
    """Return pairs of names."""
    example = 'write pairs of names, such as [["Row", "Pull-up"]]'
    if not isinstance(value, list):
        raise ValueError(f"{values.shown(value)} is no list; {example}")
    pairs = []
    for n, pair in enumerate(value, 1):
        if not isinstance(pair, list) or len(pair) != 2:
            raise ValueError(f"entry {n}: {values.shown(pair)} is no pair; {example}")
        pairs.append((_named(pair[0], '"Row"'), _named(pair[1], '"Row"')))
    return tuple(pairs)


def orders(value: object) -> tuple[tuple[int, ...], ...]:
    """Return for each group the numbers of the exercises it does one after another; 0 waits."""
    example = "write a list for each group, such as [[1, 2, 3], [2, 3, 1]]"
    if not isinstance(value, list):
        raise ValueError(f"{values.shown(value)} is no list; {example}")
    if not value or [] in value:
        raise ValueError(f"a list of it is empty; {example}")
    rows = []
    for n, row in enumerate(value, 1):
        if not isinstance(row, list):
            raise ValueError(f"entry {n}: {values.shown(row)} is no list; {example}")
        try:
            rows.append(tuple(values.whole(number, 0, ORDER_MOST) for number in row))
        except ValueError as error:
            raise ValueError(f"entry {n}: {error}") from None
    return tuple(rows)


def _range(one: Callable[[object], int], example: str) -> Callable[[object], tuple[int, int]]:
    def check(value: object) -> tuple[int, int]:
        if not isinstance(value, list):
            raise ValueError(
                f"{values.shown(value)} is no range; write least and most, such as {example}"
            )
        if len(value) != 2:
            raise ValueError(f"a range has two entries, least and most, such as {example}")
        ends = []
        for n, end in enumerate(value, 1):
            try:
                ends.append(one(end))
            except ValueError as error:
                raise ValueError(f"entry {n}: {error}") from None
        least, most = ends
        if least > most:
            raise ValueError(f"the least is above the most; write them as {example}")
        return least, most

    return check


def kept(value: object) -> tuple[str, ...]:
    """Return the levels that fit leaves alone."""
    if value in LEVELS:
        raise ValueError(f'{values.shown(value)} is no list; write ["{value}"]')
    known = ", ".join(f'"{level}"' for level in LEVELS)
    levels = value if isinstance(value, list) else [value]
    wrong = levels if levels is not value else [level for level in levels if level not in LEVELS]
    if wrong:
        raise ValueError(f"{values.shown(wrong[0])} isn't allowed here; write a list of {known}")
    return tuple(levels)


def _pair_of(one: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": one, "minItems": 2, "maxItems": 2}


_TIMES = WithJsonSchema(_pair_of({"type": "number", "minimum": 0}))
_COUNTS = WithJsonSchema(_pair_of({"type": "integer", "minimum": 1}))
_NAMES = {"type": "array", "items": {"type": "string"}}


def _whole(least: int, most: int) -> Callable[[object], int]:
    return lambda value: values.whole(value, least, most)


PauseRange = Annotated[
    tuple[int, int] | None, PlainValidator(_range(values.pause_ms, "[30, 60]")), _TIMES
]
GuidedRange = Annotated[
    tuple[int, int] | None, PlainValidator(_range(values.guided_ms, "[30, 120]")), _TIMES
]
WindowRange = Annotated[
    tuple[int, int] | None, PlainValidator(_range(values.window_ms, "[20, 45]")), _TIMES
]
RoundRange = Annotated[
    tuple[int, int] | None,
    PlainValidator(_range(_whole(1, values.ROUNDS_MOST), "[2, 4]")),
    _COUNTS,
]
Minutes = Annotated[
    int | None,
    PlainValidator(_whole(1, MINUTES_MOST)),
    WithJsonSchema({"type": "integer", "minimum": 1, "maximum": MINUTES_MOST}),
]
Kept = Annotated[
    tuple[str, ...],
    PlainValidator(kept),
    WithJsonSchema({"type": "array", "items": {"enum": list(LEVELS)}}),
]
KitCounts = Annotated[
    dict[str, int],
    PlainValidator(kit_counts),
    WithJsonSchema({"type": "object", "additionalProperties": {"type": "integer", "minimum": 0}}),
]
KitNeeds = Annotated[
    tuple[KitNeed, ...],
    PlainValidator(kit_needs),
    WithJsonSchema(
        {
            "anyOf": [
                _NAMES,
                {"type": "object", "additionalProperties": {"type": "integer", "minimum": 1}},
            ]
        }
    ),
]
NamePairs = Annotated[
    tuple[tuple[str, str], ...],
    PlainValidator(name_pairs),
    WithJsonSchema({"type": "array", "items": _pair_of({"type": "string"})}),
]
Orders = Annotated[
    tuple[tuple[int, ...], ...] | None,
    PlainValidator(orders),
    WithJsonSchema(
        {"type": "array", "items": {"type": "array", "items": {"type": "integer", "minimum": 0}}}
    ),
]
MaybeSpot = Annotated[
    tuple[float, float] | None,
    PlainValidator(spot),
    WithJsonSchema(
        {
            "type": "array",
            "items": {"type": "number", "minimum": -SPOT_MOST_M, "maximum": SPOT_MOST_M},
            "minItems": 2,
            "maxItems": 2,
        }
    ),
]
MaybeCapacity = Annotated[
    int | None,
    PlainValidator(_whole(1, CAPACITY_MOST)),
    WithJsonSchema({"type": "integer", "minimum": 1, "maximum": CAPACITY_MOST}),
]


class Fit(Table):
    """What ``fit`` may move, each as [least, most]; what isn't written has the usual bounds."""

    minutes: Minutes = Field(None, description="The slot, lead-in to cool-down.")
    break_ms: PauseRange = Field(None, alias="break_s", description="Bounds of each break.")
    rest_ms: PauseRange = Field(None, alias="rest_s", description="Bounds of each rest.")
    guided_ms: GuidedRange = Field(
        None, alias="guided_s", description="Bounds of each part of warm-up and cool-down."
    )
    work_ms: WindowRange = Field(None, alias="work_s", description="Bounds of each window.")
    rounds: RoundRange = Field(None, description="Bounds of each block's rounds.")
    keep: Kept = Field((), description="What fit leaves alone.")
