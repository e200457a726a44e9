"""Who comes to a class that is begun: people at boxes, in groups, at buttons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Crew:
    """The people of one box: the group's name and bibs."""

    name: str
    bibs: tuple[int, ...]


@dataclass(frozen=True)
class Floor:
    """The boxes of a class and who is at each; ``buttons`` is how many of a box are in use."""

    crews: tuple[Crew, ...]
    buttons: int

    @property
    def people(self) -> int:
        """How many come."""
        return sum(len(crew.bibs) for crew in self.crews)

    @property
    def alone(self) -> bool:
        """Whether everybody has a box alone, numbered from 1: then no groups are needed."""
        return all(crew.bibs == (n,) for n, crew in enumerate(self.crews, start=1))

    @property
    def shares_buttons(self) -> bool:
        """Whether a box has more people than buttons, so that they tap in turns."""
        return any(len(crew.bibs) > self.buttons for crew in self.crews)


def _letters(number: int) -> str:
    """Return A, B, ..., Z, AA: beside bibs a number would be taken for one."""
    after, last = divmod(number, 26)
    return (_letters(after - 1) if after else "") + chr(ord("A") + last)


def floor_of(bibs: Sequence[int], boxes: int, buttons: int) -> Floor:
    """Return people spread over boxes, as evenly as they go, the first boxes with one more."""
    each, over = divmod(len(bibs), boxes)
    crews = []
    at = 0
    for n in range(boxes):
        size = each + (n < over)
        crews.append(Crew(f"Group {_letters(n)}", tuple(bibs[at : at + size])))
        at += size
    return Floor(tuple(crews), buttons)
