"""Exercises to start with, one after another: of the library, by pattern and by kit."""

from __future__ import annotations

from collections.abc import Collection

from handbell.coach.library.entry import Entry
from handbell.coach.library.names import name_key
from handbell.coach.library.shelf import Library

# In turn, so that what follows asks for something else. Common practice, no source.
PATTERNS = ("squat", "push", "hinge", "trunk", "lunge", "pull", "cardio", "carry")
LEVEL_MOST = 2  # a plan to start from is for everybody


def chosen(library: Library, kit: Collection[str], count: int) -> list[Entry]:
    """Return up to ``count`` exercises that go with the kit (keys) that is there.

    Nothing with hard landings, skill, a lane to itself or one side only, and nothing that can only
    be counted afterwards; each once; none that tires a muscle of the one before, as far as there is
    another.
    """
    found: list[Entry] = []
    entries = [entry for entry in library.entries.values() if _suits(entry, kit)]
    while len(found) < count:
        near = found[-1:] + found[:1] * (len(found) == count - 1)  # the next round begins there
        beside = {muscle for entry in near for muscle in entry.tires}
        ranked = [
            (len(beside & set(e.tires)), _turns(e, len(found)), not e.kit, -e.level, n)
            for n, e in enumerate(entries)
            if e not in found
        ]
        if not ranked:
            break
        found.append(entries[min(ranked)[-1]])
    return found


def _turns(entry: Entry, at: int) -> int:
    """Return how many patterns come before the entry's in the turn that begins at ``at``."""
    return (PATTERNS.index(entry.pattern) - at) % len(PATTERNS)


def _suits(entry: Entry, kit: Collection[str]) -> bool:
    return bool(
        entry.level <= LEVEL_MOST
        and entry.impact != "high"
        and entry.space != "lane"
        and entry.sides != "one"
        and (entry.is_hold or {"each", "finish"} & set(entry.taps))
        and not entry.skill
        and all(any(name_key(item) in kit for item in need) for need in entry.kit)
    )
