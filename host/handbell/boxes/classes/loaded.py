"""A class with every station of its plan, and what became of the box of each."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from enum import Enum

from handbell.base.errors import UsageError


class State(str, Enum):
    """What became of a station's box."""

    LEFT_OUT = "left out"  # knowingly, with --without
    NO_BOX = "no box"
    FAILED = "failed"  # it may hold another plan
    HOLDS = "holds the plan"
    ARMED = "armed"
    COLLECTED = "collected"


@dataclass
class Place:
    """A station of a class: its timeline's digest, its box's id, and when it is to start."""

    digest: str
    box: str = ""
    state: State = State.HOLDS
    start_utc_ms: int = 0


@dataclass
class LoadedClass:
    """A class with every station of its plan, by number; ``gates`` and ``grid_s`` are the plan's.

    A class starts whole or not at all: on every station but those left out knowingly. ``remote``
    is the digest of a remote's timeline, ``key`` that of the remote that leads, "" for none.
    """

    title: str
    places: dict[int, Place]
    gates: int = 0
    grid_s: int = 0
    remote: str = ""
    key: str = ""

    @classmethod
    def of(
        cls,
        title: str,
        timelines: Mapping[int, str],
        boxes: Mapping[int, str],
        gates: int = 0,
        grid_s: int = 0,
        remote: str = "",
    ) -> LoadedClass:
        """Return a class from the digest of each station's timeline and the id of its box."""
        places = {
            n: Place(digest, boxes.get(n, ""), State.HOLDS if n in boxes else State.NO_BOX)
            for n, digest in timelines.items()
        }
        return cls(title, places, gates, grid_s, remote)

    @property
    def playing(self) -> dict[int, Place]:
        """The stations that are to play, in order."""
        chosen = sorted(self.places.items())
        return {n: place for n, place in chosen if place.state is not State.LEFT_OUT}

    @property
    def stations(self) -> dict[str, int]:
        """The station of each box that is to play, by the box's id."""
        return {place.box: n for n, place in self.playing.items() if place.box}

    def hanging(self, boxes: Mapping[int, str]) -> LoadedClass:
        """Return it with these boxes at their stations, which are to play."""
        there = {n: replace(self.places[n], box=box, state=State.HOLDS) for n, box in boxes.items()}
        return replace(self, places=self.places | there)

    def without(self, stations: Collection[int]) -> LoadedClass:
        """Return it with these left out; raises UsageError for one that it lacks, or for all."""
        unknown = sorted(set(stations) - set(self.places))
        if unknown:
            raise UsageError(
                f"Station {unknown[0]} is not in {self.title}",
                "See handbell stations for the numbers",
            )
        places = {
            n: replace(place, state=State.LEFT_OUT) if n in stations else replace(place)
            for n, place in self.places.items()
        }
        fewer = replace(self, places=places)
        if not fewer.playing:
            raise UsageError(f"No box of {self.title} is left to start", "Leave fewer out")
        return fewer
