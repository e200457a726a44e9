"""Blocks in a short form: ``format`` names it, and the block is spelt out before it is checked.

A form owns some keys of its block and its exercises; the others mean what they always do. What
comes out has the keys of any block, and ``format`` beside them to tell where it came from.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import PlainValidator, ValidationError, WithJsonSchema

from handbell.plan import values
from handbell.plan.rules import Disagreement
from handbell.plan.shorthands.counted import AsManyRounds, Ladder, UnderACap
from handbell.plan.shorthands.form import Short, Table, found, own_keys
from handbell.plan.shorthands.timed import EveryMinute, Intervals, Relay

FORMATS: dict[str, type[Short]] = {
    "every-minute": EveryMinute,
    "as-many-rounds": AsManyRounds,
    "under-a-cap": UnderACap,
    "ladder": Ladder,
    "intervals": Intervals,
    "relay": Relay,
}
MaybeFormat = Annotated[
    str | None, PlainValidator(values.chosen(*FORMATS)), WithJsonSchema({"enum": [*FORMATS]})
]


def asks_each(block_format: str | None) -> bool:
    """Return whether each exercise of a block is asked for by itself, as its own keys say."""
    return block_format is None or FORMATS[block_format].asks_each


def spelt_out(block: Table) -> Table:
    """Return the block that a short form stands for; raises Disagreement with every fault.

    What is no block at all comes back as it is, for the block's own check to refuse.
    """
    kind = block["format"]
    exercises = block.get("exercise")
    try:
        form = FORMATS[values.chosen(*FORMATS)(kind)]
    except ValueError as error:
        raise Disagreement([(("format",), str(error))]) from None
    if not isinstance(exercises, list) or not exercises:
        return {key: value for key, value in block.items() if key not in own_keys(form)}
    if not all(isinstance(exercise, dict) for exercise in exercises):
        return block
    own = {key: block[key] for key in own_keys(form) if key in block}
    rest = {key: value for key, value in block.items() if key not in (*own, "exercise")}
    faults = list(form.set_twice(rest, exercises))
    try:
        short = form.model_validate(own)
    except ValidationError as error:
        raise Disagreement([*found(error), *faults]) from None
    faults += short.faults(rest, exercises)
    if faults:
        raise Disagreement(faults)
    return short.spelt_out(rest, exercises)
