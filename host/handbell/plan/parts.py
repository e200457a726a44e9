"""The parts of an exercise that is a list done over and over: so much of each, once through."""

from __future__ import annotations

from collections.abc import Iterable

from pydantic import Field
from pydantic import model_validator as on_model

from handbell.plan import fields
from handbell.plan.agreement import Table


class Part(Table):
    """One of the things done, in order, before the next round begins."""

    name: fields.Name = Field(description="What is done.")
    reps: fields.MaybePartReps = Field(None, description="How many of it.")
    both_sides: fields.YesNo = Field(False, description="The reps are the sum of both sides.")
    hold_ms: fields.MaybeGuided = Field(None, alias="hold_s", description="Seconds it is kept.")

    @property
    def words(self) -> str:
        """The part as it is said: ``10 Step-up``, ``20 s Plank``."""
        if self.hold_ms is not None:
            return f"{self.hold_ms / 1000:g} s {self.name}"
        name = self.name if self.reps is None else f"{self.reps} {self.name}"
        return f"{name} (both sides)" if self.both_sides else name

    @on_model(mode="after")
    def _agrees(self) -> Part:
        both = self.hold_ms is not None and (self.reps is not None or self.both_sides)
        if both:
            raise ValueError("it has reps or sides, and hold_s; write reps, or hold_s for a hold")
        return self


def parts_words(parts: Iterable[Part]) -> str:
    """Return all parts in their order."""
    return ", ".join(part.words for part in parts)
