"""Who is where: the people and the exercise of each station in each step of a block."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from handbell.compile.expand import NOBODY
from handbell.plan.legs import exercise_of, moves_on
from handbell.plan.model import Block, Exercise, Plan
from handbell.plan.pauses import steps_of

AND = " + "  # between the names of groups that share a station

Groups = tuple[int, ...]
Bibs = tuple[int, ...]
Posts = list[tuple["Post", ...]]  # of a block: for each step (or leg), for each station
Walks = list[tuple["Post | None", ...]]  # for each step, for each lane, or group of a rotation


class Post(NamedTuple):
    """A station in a step of a block, the same in every round; all numbers from 0.

    In a relay whose legs move on, it is a station in a leg, and each leg has its own.
    ``number`` is the exercise's in its block. ``groups`` are there together, called ``who``, with
    ``people`` as their bibs; in a rotation with an order perhaps nobody. ``turns`` are the bibs at
    the buttons, 0 where nobody is, turn after turn. Without groups a station has one bib, its
    number from 1.
    """

    station: int
    number: int
    exercise: Exercise
    groups: Groups
    who: str
    people: Bibs
    turns: tuple[Bibs, ...]

    def bibs(self, turn: int) -> Bibs:
        """Return whose turn it is; nobody's outside a window."""
        return () if turn == NOBODY or not self.turns else self.turns[turn % len(self.turns)]


class Crew(NamedTuple):
    """People at a station together: what they are called, their bibs, and these turn by turn."""

    who: str
    people: Bibs
    turns: tuple[Bibs, ...]


class Crews:
    """The crews of a class, each made once."""

    def __init__(self, plan: Plan) -> None:
        self._groups = plan.groups
        self._buttons = plan.buttons
        self._made: dict[tuple[Groups, bool, int], Crew] = {}

    def of(self, groups: Groups, one_by_one: bool = False, waited: int = 0) -> Crew:
        """Return groups as a crew, whose turns begin as many later as they have waited.

        ``one_by_one`` lets each bib have its turn alone, at the button that is its own.
        """
        key = (groups, one_by_one, waited)
        if key not in self._made:
            who = AND.join(self._groups[g].name for g in groups)
            people = tuple(bib for g in groups for bib in self._groups[g].bibs)
            size = self._buttons
            sets = [people[at : at + size] for at in range(0, len(people), size)]
            if one_by_one:
                sets = [(*(0,) * n, bib) for some in sets for n, bib in enumerate(some)]
            late = -waited % len(sets) if sets else 0
            self._made[key] = Crew(who, people, (*sets[late:], *sets[:late]))
        return self._made[key]


def posts_of(plan: Plan, crews: Crews) -> list[Posts]:
    """Return the posts of every block."""
    if plan.is_rotation:
        waits = _Waits(plan)
        return [_rotation(plan, block, crews, waits) for block in plan.blocks]
    return [_lanes(plan, block, crews) for block in plan.blocks]


def walks_of(plan: Plan, posts: list[Posts]) -> list[Walks]:
    """Return the posts of every block by lane, or by group of a rotation."""
    if not plan.is_rotation:
        return [list(block) for block in posts]
    return [[_by_group(plan, step) for step in block] for block in posts]


def _by_group(plan: Plan, step: tuple[Post, ...]) -> tuple[Post | None, ...]:
    there = {g: post for post in step for g in post.groups}
    return tuple(there.get(g) for g in range(len(plan.groups)))


def alike_of(plan: Plan) -> list[int]:
    """Return for each lane the first with the same exercises at the same times."""
    if plan.is_rotation:
        return list(range(len(plan.groups)))
    orders = [block.order for block in plan.blocks if block.order]
    relays = [block for block in plan.blocks if moves_on(plan, block)]
    first: dict[tuple[object, ...], int] = {}
    found = []
    for box in range(plan.boxes):
        along = (_legs(block, len(plan.groups[box].bibs)) for block in relays)
        key = (*(order[box] for order in orders), *along)
        found.append(first.setdefault(key, box))
    return found


def _legs(block: Block, people: int) -> tuple[int, ...]:
    """Return which exercise each leg of a relay is."""
    count = len(block.exercises)
    return tuple(exercise_of(leg, people, count) for leg in range(block.rounds * count))


def mixed_of(plan: Plan, posts: list[Posts]) -> list[bool]:
    """Return for each block whether stations may do different exercises at once."""
    return [
        plan.is_rotation
        or block.order is not None
        or any(post.number != step[0].number for step in steps for post in step)
        for block, steps in zip(plan.blocks, posts, strict=True)
    ]


def _lanes(plan: Plan, block: Block, crews: Crews) -> Posts:
    """Return the posts of lanes; those who do the same at once as before have the same ones."""
    there: list[tuple[Groups, Crew]]
    if block.hand_over:
        all_at_once = [crews.of((box,)) for box in range(plan.boxes)]
        there = [((n,), crew._replace(turns=(crew.people,))) for n, crew in enumerate(all_at_once)]
    elif plan.groups:
        there = [((box,), crews.of((box,), one_by_one=block.relay)) for box in range(plan.boxes)]
    else:
        there = [((), Crew("", (n,), ((n,),))) for n in range(1, plan.boxes + 1)]
    made: dict[tuple[int, ...], tuple[Post, ...]] = {}
    posts = []
    for numbers in _numbers(plan, block):
        if numbers not in made:
            made[numbers] = tuple(
                Post(box, number, block.exercises[number], groups, *crew)
                for box, (number, (groups, crew)) in enumerate(zip(numbers, there, strict=True))
            )
        posts.append(made[numbers])
    return posts


def _numbers(plan: Plan, block: Block) -> Iterator[tuple[int, ...]]:
    """Yield the exercise of each lane, step by step: in turn, by its order, or leg by leg."""
    count = len(block.exercises)
    if moves_on(plan, block):
        sizes = [len(group.bibs) for group in plan.groups]
        for leg in range(block.rounds * count):
            at = {people: exercise_of(leg, people, count) for people in set(sizes)}
            yield tuple(at[people] for people in sizes)
    elif block.order:
        yield from zip(*([number - 1 for number in row] for row in block.order), strict=True)
    else:
        yield from ((step,) * plan.boxes for step in range(count))


def _rotation(plan: Plan, block: Block, crews: Crews, waits: _Waits) -> Posts:
    """Return the posts of a rotation, in which groups go on to the next station or by an order."""
    stations = range(plan.boxes)
    posts = []
    for step in range(steps_of(plan, block)):
        if block.order:
            at_once = [row[step] - 1 for row in block.order]
        else:
            at_once = [(g + step) % plan.boxes for g in range(len(plan.groups))]
        here: list[list[int]] = [[] for _ in stations]
        for g, station in enumerate(at_once):
            if station >= 0:
                here[station].append(g)
        posts.append(
            tuple(
                _post(box, block.exercises[box], tuple(here[box]), crews, waits) for box in stations
            )
        )
        waits.add(at_once)
    waits.end_block()
    return posts


def _post(box: int, exercise: Exercise, groups: Groups, crews: Crews, waits: _Waits) -> Post:
    return Post(box, box, exercise, groups, *crews.of(groups, waited=waits.of(groups)))


class _Waits:
    """How often groups of a rotation have waited while others had their turn.

    A group's turn does not go on while it waits, unless turns go by rounds and people move after
    every window. Moving by rounds, turns go on through the blocks; else each begins anew.
    """

    def __init__(self, plan: Plan) -> None:
        self._by_rounds = plan.move == "round"
        self._never = not self._by_rounds and plan.turns == "round"
        self._waited = [0] * len(plan.groups)

    def of(self, groups: Groups) -> int:
        """Return how often those at a station have waited: the first of them, for all."""
        return 0 if self._never or not groups else self._waited[groups[0]]

    def add(self, at_once: Sequence[int]) -> None:
        """Take in where the groups are in a step; below 0 they wait."""
        for g, station in enumerate(at_once):
            self._waited[g] += station < 0

    def end_block(self) -> None:
        """Begin a block anew."""
        if not self._by_rounds:
            self._waited = [0] * len(self._waited)
