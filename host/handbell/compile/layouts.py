"""Who is where: which exercise a box shows and which group stands at it."""

from __future__ import annotations

from dataclasses import dataclass

from handbell.compile.expand import NOBODY
from handbell.plan.model import Group, Plan


@dataclass(frozen=True)
class Seat:
    """People at a box: their group's name and who is at each button."""

    group: str
    bibs: tuple[int, ...]


class Floor:
    """The boxes of a class and the people at them; boxes, steps and exercises count from 0."""

    def __init__(self, plan: Plan) -> None:
        self._rotates = plan.is_rotation
        self._groups = plan.groups
        self._sets = {group.name: _sets(group.bibs, plan.buttons) for group in plan.groups}
        self.boxes = plan.boxes

    def track(self, box: int) -> int:
        """Return which track a box plays; boxes that show the same exercises share one."""
        return box if self._rotates else 0

    def exercise(self, track: int, step: int) -> int:
        """Return the exercise that is done on a track."""
        return track if self._rotates else step

    def group(self, box: int, step: int) -> Group | None:
        """Return who is at a box; in a rotation, groups go on to the next box with each step."""
        if not self._groups:
            return None
        return self._groups[(box - step) % self.boxes if self._rotates else box]

    def seat(self, box: int, step: int, turn: int) -> Seat:
        """Return the people at a box and, of these, the bibs whose turn it is.

        Without groups a box has one bib, its station's number.
        """
        group = self.group(box, step)
        if group is None:
            return Seat("", () if turn == NOBODY else (box + 1,))
        if turn == NOBODY:
            return Seat(group.name, ())
        sets = self._sets[group.name]
        return Seat(group.name, sets[turn % len(sets)])

    def sets(self, group: Group) -> list[tuple[int, ...]]:
        """Return a group's bibs in sets that fit on the buttons, in order."""
        return self._sets[group.name]

    def bibs(self, box: int) -> list[int]:
        """Return every bib that is ever at a box."""
        if not self._groups:
            return [box + 1]
        groups = self._groups if self._rotates else self._groups[box : box + 1]
        return [bib for group in groups for bib in group.bibs]


def _sets(bibs: tuple[int, ...], size: int) -> list[tuple[int, ...]]:
    return [bibs[at : at + size] for at in range(0, len(bibs), size)]
