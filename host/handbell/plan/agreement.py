"""What every table of a plan is, and how its parts say that they don't agree with one another.

A rule returns faults as (place, sentence); a place is a path of keys and list indexes below the
table that is checked.
"""

from __future__ import annotations

from collections.abc import Iterable

from pydantic import BaseModel, ConfigDict

Place = tuple[str | int, ...]
Fault = tuple[Place, str]


class Table(BaseModel):
    """A table of the file: it has no other keys than its own, and never changes."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class Disagreement(ValueError):
    """Parts of a plan that don't agree, with every fault found."""

    def __init__(self, faults: list[Fault]) -> None:
        super().__init__("; ".join(sentence for _, sentence in faults))
        self.faults = faults


def require(faults: Iterable[Fault]) -> None:
    """Raise Disagreement if there are faults."""
    found = list(faults)
    if found:
        raise Disagreement(found)
