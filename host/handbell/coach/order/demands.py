"""What a rotation must do, what it became, and which demands can't hold together.

Groups, stations and steps count from 0. A step is one window of the rotation: everybody changes
together, so what holds in a step holds at every instant of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from handbell.base.errors import HandbellError, UsageError

WAITS = -1


@dataclass(frozen=True)
class Need:
    """What a station takes of a sort of kit: ``count`` for each person, or for a whole group."""

    kit: str
    count: int = 1
    each: bool = True

    def of(self, people: int) -> int:
        """Return how much of the kit so many people of a group use: none where nobody works."""
        return self.count * (people if self.each else min(people, 1))


@dataclass(frozen=True)
class Station:
    """A place where an exercise is done; None where there is no limit.

    ``room`` is people at once, ``groups_most`` groups at once. ``steps`` are the only ones in
    which it can be used, None for all.
    """

    name: str
    room: int | None = None
    groups_most: int | None = 1
    needs: tuple[Need, ...] = ()
    steps: frozenset[int] | None = None


@dataclass(frozen=True)
class Group:
    """People who stay together; ``visits`` says how often they do each station.

    ``out`` is how many of them leave out what is done at each; () where nobody does. Of the pairs
    that nobody does one after the other, ``may`` are no matter to them. The blocks before and after
    want that they begin at none of ``not_first`` and end at none of ``not_last``: a station, and
    how many steps they wait before it, or after it.
    """

    name: str
    people: int
    visits: tuple[int, ...]
    out: tuple[int, ...] = ()
    may: frozenset[tuple[int, int]] = frozenset()
    not_first: frozenset[tuple[int, int]] = frozenset()
    not_last: frozenset[tuple[int, int]] = frozenset()

    def at_work(self, station: int) -> int:
        """Return how many do what is done at a station."""
        return self.people - (self.out[station] if self.out else 0)


@dataclass(frozen=True)
class Demands:
    """All that a rotation must do.

    ``kit`` has the sorts that are counted; ``never_after`` pairs of stations, of which a group
    does the second never in the step right after the first; ``alternate`` pairs of groups that
    never work in the same step and take turns, the first one beginning, while both have visits
    left; ``steps_most`` how many steps there are time for. ``repeats`` when the schedule is done
    several times over, so that its first step follows its last; ``noun`` what a station is called
    in words.
    """

    groups: tuple[Group, ...]
    stations: tuple[Station, ...]
    kit: dict[str, int] = field(default_factory=dict)
    never_after: tuple[tuple[int, int], ...] = ()
    alternate: tuple[tuple[int, int], ...] = ()
    steps_most: int | None = None
    repeats: bool = False
    noun: str = "station"

    def use(self, kit: str, station: int, group: int) -> int:
        """Return how much of a sort of kit a group uses at a station."""
        people = self.groups[group].at_work(station)
        return sum(need.of(people) for need in self.stations[station].needs if need.kit == kit)


@dataclass(frozen=True)
class Schedule:
    """Where every group is: ``places[group][step]`` is a station, or WAITS.

    ``shortest`` when fewer steps were proved impossible.
    """

    places: tuple[tuple[int, ...], ...]
    shortest: bool

    @property
    def steps(self) -> int:
        """How many steps it takes."""
        return len(self.places[0])

    @property
    def waiting(self) -> tuple[int, ...]:
        """How many steps each group waits."""
        return tuple(row.count(WAITS) for row in self.places)


@dataclass(frozen=True)
class Demand:
    """One demand that can be dropped: ``kind`` and what it is about, by index or by name.

    Kinds: visits (of a group), room (of a station), groups_most (of a station), kit (a sort),
    never_after (a pair), alternate (a pair), steps_most.
    """

    kind: str
    about: int | str = 0


@dataclass(frozen=True)
class Clash:
    """Demands that can't hold together, each also in words.

    ``smallest`` when each of them was proved needed: without it the others hold together.
    """

    demands: tuple[Demand, ...]
    words: tuple[str, ...]
    smallest: bool

    def __str__(self) -> str:
        return "; ".join(self.words)


class UndecidedError(HandbellError):
    """The time ran out before a schedule was found or ruled out."""

    def __init__(self, seconds: float) -> None:
        super().__init__(
            f"In {seconds:g} s no schedule was found, and none was ruled out",
            "Give it longer (--seconds), or drop a demand",
        )


def is_bounded(demands: Demands) -> bool:
    """Return whether the steps are counted, by the time there is or by when stations are open."""
    return demands.steps_most is not None or any(s.steps is not None for s in demands.stations)


def steps_most(demands: Demands) -> int:
    """Return a number of steps past which more of them are no help.

    Unless they are counted, one group after another works, with a wait after every visit.
    """
    if demands.steps_most is not None:
        return demands.steps_most
    open_steps = [station.steps for station in demands.stations if station.steps is not None]
    if open_steps:
        return 1 + max(max(steps, default=0) for steps in open_steps)
    return 2 * sum(sum(group.visits) for group in demands.groups) or 1


def require_sound(demands: Demands) -> None:
    """Raise UsageError when indexes, counts or pairs make no sense."""
    fault = next(_faults(demands), "")
    if fault:
        raise UsageError(f"These demands make no rotation: {fault}", "Mend them and run it again")


def _faults(demands: Demands) -> Iterator[str]:
    stations, groups = len(demands.stations), len(demands.groups)
    if not groups or not stations:
        yield "there must be a group and a station"
    for group in demands.groups:
        if len(group.visits) != stations or min(group.visits, default=0) < 0:
            yield f"{group.name} needs a number of visits, 0 or more, for each station"
        if group.people < 1:
            yield f"{group.name} has nobody in it"
    for pair in demands.never_after:
        if not all(0 <= station < stations for station in pair):
            yield f"there are no two stations {pair} to keep apart"
    paired = [group for pair in demands.alternate for group in pair]
    if len(set(paired)) != len(paired) or any(not 0 <= g < groups for g in paired):
        yield "a group alternates with one other group at most"
    if demands.steps_most is not None and demands.steps_most < 1:
        yield "there must be a step"


def each(demands: Demands) -> list[Demand]:
    """Return every demand that can be dropped; those a coach gives up first come first."""
    found = [Demand("never_after", n) for n in range(len(demands.never_after))]
    found += [Demand("alternate", n) for n in range(len(demands.alternate))]
    found += [
        Demand("groups_most", s)
        for s, station in enumerate(demands.stations)
        if station.groups_most is not None
    ]
    found += [
        Demand("room", s) for s, station in enumerate(demands.stations) if station.room is not None
    ]
    found += [Demand("kit", kit) for kit in demands.kit]
    found += [Demand("visits", g) for g, group in enumerate(demands.groups) if any(group.visits)]
    if demands.steps_most is not None:
        found.append(Demand("steps_most"))
    return found


def only(demands: Demands, kept: set[Demand]) -> Demands:
    """Return the demands with all dropped that are not kept.

    Whatever fits the demands fits fewer of them: a group without visits only leaves room.
    """

    def keeps(kind: str, about: int | str = 0) -> bool:
        return Demand(kind, about) in kept

    nowhere = (0,) * len(demands.stations)
    return replace(
        demands,
        groups=tuple(
            group if keeps("visits", g) else replace(group, visits=nowhere)
            for g, group in enumerate(demands.groups)
        ),
        stations=tuple(
            replace(
                station,
                room=station.room if keeps("room", s) else None,
                groups_most=station.groups_most if keeps("groups_most", s) else None,
            )
            for s, station in enumerate(demands.stations)
        ),
        kit={kit: count for kit, count in demands.kit.items() if keeps("kit", kit)},
        never_after=tuple(p for n, p in enumerate(demands.never_after) if keeps("never_after", n)),
        alternate=tuple(p for n, p in enumerate(demands.alternate) if keeps("alternate", n)),
        steps_most=demands.steps_most if keeps("steps_most") else None,
    )
