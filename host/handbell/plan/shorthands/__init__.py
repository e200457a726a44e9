"""Blocks in a short form: ``format`` names it, and the block is spelt out before it is checked.

A form owns some keys of its block and its exercises; the others mean what they always do. What
comes out has the keys of any block, and ``format`` beside them to tell where it came from.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Annotated

from pydantic import PlainValidator, ValidationError, WithJsonSchema

from handbell.plan import values
from handbell.plan.agreement import Fault
from handbell.plan.shorthands.counted import AsManyRounds, HandOver, Ladder, UnderACap
from handbell.plan.shorthands.form import Short, Table, found, own_keys
from handbell.plan.shorthands.timed import EveryMinute, Intervals, Relay

FORMATS: dict[str, type[Short]] = {
    "every-minute": EveryMinute,
    "as-many-rounds": AsManyRounds,
    "under-a-cap": UnderACap,
    "ladder": Ladder,
    "intervals": Intervals,
    "relay": Relay,
    "hand-over": HandOver,
}
IN_SHORT = {"emom": "every-minute", "amrap": "as-many-rounds"}  # what the trade often writes
MaybeFormat = Annotated[
    str | None, PlainValidator(values.chosen(*FORMATS)), WithJsonSchema({"enum": [*FORMATS]})
]


def nearest_form(said: str, names: Iterable[str]) -> str:
    """Return the form of some names that a word means, or that is most like it; "" for none."""
    word = "-".join(said.casefold().replace("_", " ").split())
    near = [IN_SHORT[word]] if word in IN_SHORT else difflib.get_close_matches(word, names, 1)
    return near[0] if near else ""


def asks_each(block_format: str | None) -> bool:
    """Return whether each exercise of a block is asked for by itself, as its own keys say."""
    return block_format is None or FORMATS[block_format].asks_each


def named_by_list(block_format: str | None) -> bool:
    """Return whether a block without a name is called by its exercises, so they must be few."""
    return block_format is not None and FORMATS[block_format].named_by_list


class Misspelt(ValueError):
    """A short block with faults: ``faults`` of the form, ``inner`` those of its other keys.

    Places are below the block; those of ``inner`` are where the form put things.
    """

    def __init__(
        self, form: type[Short], faults: list[Fault], inner: ValidationError | None
    ) -> None:
        super().__init__("; ".join(sentence for _, sentence in faults))
        self.form, self.faults, self.inner = form, faults, inner


def spelt_out(block: Table) -> tuple[Table, type[Short], list[Fault]]:
    """Return the block that a short form stands for, the form, and every fault of it.

    With faults the block is a stand-in. What is no block at all comes back as it is, for the
    block's own check to refuse.
    """
    exercises = block.get("exercise", [])
    try:
        form = FORMATS[values.chosen(*FORMATS)(block["format"])]
    except ValueError as error:
        plain = {key: value for key, value in block.items() if key != "format"}
        return Short.stand_in(plain, []), Short, [(("format",), str(error))]
    if not isinstance(exercises, list) or not all(isinstance(e, dict) for e in exercises):
        return {"exercise": exercises, "format": block["format"]}, form, []
    own = {key: block[key] for key in own_keys(form) if key in block}
    rest = {key: value for key, value in block.items() if key not in (*own, "exercise")}
    faults = list(form.early_faults(rest, exercises))
    if not exercises:
        faults.append(((), "it has no exercise; add a [[block.exercise]] with a name"))
    try:
        short = form.model_validate(own)
    except ValidationError as error:
        return form.stand_in(rest, exercises), form, [*found(error), *faults]
    faults += short.faults(rest, exercises) if exercises else []
    if faults:
        return form.stand_in(rest, exercises), form, faults
    return short.spelt_out(rest, exercises), form, []
