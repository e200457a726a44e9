"""The ladder: which exercise is easier or harder than which, checked, and distances along it."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from graphlib import CycleError, TopologicalSorter
from typing import NamedTuple

from .entry import Entry
from .names import nearest


class Steps(NamedTuple):
    """The way from one exercise to another: ``far`` is how many steps.

    ``way`` is ``easier`` or ``harder`` when all of them go that way, else ``beside``.
    """

    far: int
    way: str


class Ladder:
    """The links of a library, each known at both its ends."""

    def __init__(self, entries: Mapping[str, Entry]) -> None:
        self.harder: dict[str, list[str]] = {id_: [] for id_ in entries}
        self.easier: dict[str, list[str]] = {id_: [] for id_ in entries}
        self.faults = _faults(entries)
        if not self.faults:
            for entry in entries.values():
                for other in entry.harder:
                    self._link(entry.id, other)
                for other in entry.easier:
                    self._link(other, entry.id)
            self.faults = _loops(self.harder)

    def _link(self, easier: str, harder: str) -> None:
        if harder not in self.harder[easier]:
            self.harder[easier].append(harder)
            self.easier[harder].append(easier)

    def steps(self, start: str) -> dict[str, Steps]:
        """Return the way from an exercise to every other that can be reached."""
        found = {
            id_: Steps(count, "beside")
            for id_, count in self._reached(start, self.easier, self.harder).items()
        }
        # One way only wins over a shorter zigzag: it says for certain which is the easier one.
        for way, links in (("easier", self.easier), ("harder", self.harder)):
            for id_, count in self._reached(start, links).items():
                found[id_] = Steps(count, way)
        return found

    def _reached(self, start: str, *ways: dict[str, list[str]]) -> dict[str, int]:
        counts = {start: 0}
        queue = deque([start])
        while queue:
            here = queue.popleft()
            for links in ways:
                for there in links[here]:
                    if there not in counts:
                        counts[there] = counts[here] + 1
                        queue.append(there)
        del counts[start]
        return counts


def _faults(entries: Mapping[str, Entry]) -> list[str]:
    found = []
    for entry in entries.values():
        for key, others in (("easier", entry.easier), ("harder", entry.harder)):
            for id_ in others:
                other = entries.get(id_)
                fault = _link_fault(entry, other, key) if other else _unknown(id_, entries)
                if fault:
                    found.append(f"exercise {entry.id}, {key}: {fault}")
    return found


def _unknown(id_: str, entries: Mapping[str, Entry]) -> str:
    near = nearest(id_, entries, 1)
    remedy = f"did you mean {near[0]}?" if near else "handbell exercises lists them all"
    return f'there is no exercise "{id_}"; {remedy}'


def _link_fault(entry: Entry, other: Entry, key: str) -> str:
    if other.id == entry.id:
        return "an exercise can't be its own neighbour; take it out"
    if other.pattern != entry.pattern:
        return (
            f"{other.id} is a {other.pattern}, this is a {entry.pattern}; "
            "link exercises of one pattern"
        )
    low, high = (other, entry) if key == "easier" else (entry, other)
    if low.level > high.level:
        return (
            f"{low.id} has level {low.level} and {high.id} level {high.level}; "
            "the harder one can't have the lower level"
        )
    return ""


def _loops(harder: Mapping[str, list[str]]) -> list[str]:
    try:
        TopologicalSorter(harder).prepare()
    except CycleError as error:
        loop = " > ".join(reversed(error.args[1]))
        return [f"the ladder goes in a loop, each harder than the last: {loop}; cut one link"]
    return []
