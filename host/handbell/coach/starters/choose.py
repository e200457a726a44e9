"""Exercises to start with, one after another: of the library, by pattern and by kit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from handbell.coach.library.entry import Entry
from handbell.coach.library.names import name_key
from handbell.coach.library.shelf import Library

# In turn, so that what follows asks for something else. Common practice, no source.
PATTERNS = ("squat", "push", "hinge", "trunk", "lunge", "pull", "cardio", "carry")
LEVEL_MOST = 2  # a plan to start from is for everybody


@dataclass(frozen=True)
class KitThere:
    """Kit that is there, by its key: how many, None where that isn't said and is taken to do.

    ``people`` use it at once, and with ``at_stations`` each sort serves one station at most.
    """

    counts: Mapping[str, int | None]
    people: int
    at_stations: bool

    def item_for(self, need: Sequence[str]) -> str | None:
        """Return which item of a need is there, with enough of it; None where none is."""
        for item in need:
            key = name_key(item)
            if key in self.counts:
                count = self.counts[key]
                if count is None or self.at_stations or count >= self.people:
                    return item
        return None

    def items_of(self, entry: Entry) -> list[str] | None:
        """Return the item that meets each of an exercise's needs; None where one isn't met."""
        found = [self.item_for(need) for need in entry.kit]
        return None if None in found else [item for item in found if item is not None]

    def keys_of(self, entry: Entry) -> set[str]:
        """Return the keys of the kit that an exercise takes."""
        return {name_key(item) for item in self.items_of(entry) or ()}


def chosen(library: Library, kit: KitThere, count: int) -> list[Entry]:
    """Return up to ``count`` exercises that go with the kit that is there.

    Nothing with hard landings, skill, a lane to itself or one side only, and nothing that can only
    be counted afterwards; each once; none that tires a muscle of the one before, as far as there is
    another.
    """
    found: list[Entry] = []
    entries = [entry for entry in library.entries.values() if _suits(entry, kit)]
    taken: set[str] = set()
    while len(found) < count:
        near = found[-1:] + found[:1] * (len(found) == count - 1)  # the next round begins there
        beside = {muscle for entry in near for muscle in entry.tires}
        ranked = [
            (len(beside & set(e.tires)), _turns(e, len(found)), not e.kit, -e.level, n)
            for n, e in enumerate(entries)
            if e not in found and not (kit.at_stations and taken & kit.keys_of(e))
        ]
        if not ranked:
            break
        found.append(entries[min(ranked)[-1]])
        taken |= kit.keys_of(found[-1])
    return found


def _turns(entry: Entry, at: int) -> int:
    """Return how many patterns come before the entry's in the turn that begins at ``at``."""
    return (PATTERNS.index(entry.pattern) - at) % len(PATTERNS)


def _suits(entry: Entry, kit: KitThere) -> bool:
    return bool(
        entry.level <= LEVEL_MOST
        and entry.impact != "high"
        and entry.space != "lane"
        and entry.sides != "one"
        and (entry.is_hold or {"each", "finish"} & set(entry.taps))
        and not entry.skill
        and kit.items_of(entry) is not None
    )
