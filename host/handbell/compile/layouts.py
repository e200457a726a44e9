"""Who is where: which exercise a box shows and which groups stand at it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from handbell.compile.expand import NOBODY
from handbell.plan.model import Group, Plan
from handbell.plan.pauses import steps_of

AND = " + "  # between the names of groups that share a station

Groups = tuple[int, ...]


@dataclass(frozen=True)
class Seat:
    """People at a box: their group's name and who is at each button, 0 where nobody is."""

    group: str
    bibs: tuple[int, ...]


class Floor:
    """The boxes of a class and the people at them.

    Boxes, blocks, steps, groups and exercises count from 0. A block's ``order``, where it has one,
    says which exercise a lane or a group does in each step; else lanes do them in turn, and groups
    go on to the next box with each step.
    """

    def __init__(self, plan: Plan) -> None:
        self._rotates = plan.is_rotation
        self._groups = plan.groups
        self._buttons = plan.buttons
        self._by_rounds = plan.move == "round"
        self._waits_count = not self._by_rounds and plan.turns == "round"
        self._orders = [block.order for block in plan.blocks]
        self._relays = [block.relay for block in plan.blocks]
        self._steps = [steps_of(plan, block) for block in plan.blocks]
        self._sets: dict[Groups, list[tuple[int, ...]]] = {}
        self.boxes = plan.boxes
        self._there = [self._by_box(b) for b in range(len(plan.blocks))]

    def track(self, box: int) -> int:
        """Return which track a box plays; boxes that show the same exercises share one."""
        if self._rotates:
            return box
        return next(n for n in range(box + 1) if self._lane(n) == self._lane(box))

    def exercise(self, track: int, block: int, step: int) -> int:
        """Return the exercise that is done on a track."""
        if self._rotates:
            return track
        order = self._orders[block]
        return order[track][step] - 1 if order else step

    def done(self, walker: int, block: int, step: int) -> int | None:
        """Return the exercise that a lane, or a group of a rotation, does; None while it waits."""
        if not self._rotates:
            return self.exercise(self.track(walker), block, step)
        order = self._orders[block]
        if not order:
            return (walker + step) % self.boxes
        return order[walker][step] - 1 if order[walker][step] else None

    def groups(self, box: int, block: int, step: int) -> tuple[Group, ...]:
        """Return who is at a box: in a rotation with an order perhaps nobody, or several."""
        return tuple(self._groups[g] for g in self.numbers(box, block, step))

    def numbers(self, box: int, block: int, step: int) -> Groups:
        """Return the numbers of the groups at a box."""
        if not self._groups:
            return ()
        if not self._rotates:
            return (box,)
        there = self._there[block]
        return there[step][box] if there else ((box - step) % self.boxes,)

    def name(self, groups: Groups) -> str:
        """Return what groups at a box are called, empty for none."""
        return named(self._groups[g] for g in groups)

    def seat(self, box: int, block: int, step: int, turn: int) -> Seat:
        """Return the people at a box and, of these, the bibs whose turn it is.

        Without groups a box has one bib, its station's number. A group's turn does not go on while
        it waits.
        """
        if not self._groups:
            return Seat("", () if turn == NOBODY else (box + 1,))
        groups = self.numbers(box, block, step)
        if turn == NOBODY or not groups:
            return Seat(self.name(groups), ())
        sets = self.sets(groups)
        if self._relays[block]:
            sets = [_alone(slot, bib) for some in sets for slot, bib in enumerate(some)]
        if self._rotates and not self._waits_count:
            turn -= self._waited(groups[0], block, step)
        return Seat(self.name(groups), sets[turn % len(sets)])

    def sets(self, groups: Groups) -> list[tuple[int, ...]]:
        """Return the bibs of groups at a box in sets that fit on its buttons, in order."""
        if groups not in self._sets:
            bibs = tuple(bib for g in groups for bib in self._groups[g].bibs)
            size = self._buttons
            self._sets[groups] = [bibs[at : at + size] for at in range(0, len(bibs), size)]
        return self._sets[groups]

    def last(self, box: int) -> list[Groups]:
        """Return the groups whose last window is at a box, those who end there last first."""
        found: list[Groups] = []
        left = set(range(len(self._groups)))
        for block in range(len(self._orders) - 1, -1, -1):
            for step in range(self._steps[block] - 1, -1, -1):
                here = tuple(g for g in self.numbers(box, block, step) if g in left)
                if here:
                    found.append(here)
                left -= {g for b in range(self.boxes) for g in self.numbers(b, block, step)}
                if not left:
                    return found
        return found

    def together(self) -> list[Groups]:
        """Return each group by itself, then those that are ever at a box together."""
        found: dict[Groups, None] = {(g,): None for g in range(len(self._groups))}
        for there in self._there:
            for step in there:
                found |= {groups: None for groups in step if groups}
        return list(found)

    def bibs(self, box: int) -> list[int]:
        """Return every bib that is ever at a box."""
        if not self._groups:
            return [box + 1]
        here = {
            g
            for block, steps in enumerate(self._steps)
            for step in range(steps)
            for g in self.numbers(box, block, step)
        }
        return [bib for g, group in enumerate(self._groups) if g in here for bib in group.bibs]

    def _by_box(self, block: int) -> list[list[Groups]]:
        """Return for each step of a rotation's order who is at each box; empty without one."""
        order = self._orders[block]
        if not self._rotates or not order:
            return []
        numbers = range(1, self.boxes + 1)
        return [
            [tuple(g for g, number in enumerate(at_once) if number == n) for n in numbers]
            for at_once in zip(*order, strict=True)
        ]

    def _waited(self, group: int, block: int, step: int) -> int:
        """Return how many of the steps by which turns are counted a group has waited before one."""
        rows = [order[group] if order else () for order in self._orders[: block + 1]]
        earlier = sum(row.count(0) for row in rows[:-1]) if self._by_rounds else 0
        return earlier + rows[-1][:step].count(0)

    def _lane(self, box: int) -> list[tuple[int, ...]]:
        return [order[box] for order in self._orders if order]


def _alone(slot: int, bib: int) -> tuple[int, ...]:
    """Return one bib at its own button."""
    return (*(0,) * slot, bib)


def named(groups: Iterable[Group]) -> str:
    """Return what groups at a box are called, empty for none."""
    return AND.join(group.name for group in groups)
