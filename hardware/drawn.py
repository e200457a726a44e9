"""Nets read back from a drawing's geometry, to be compared with box.toml.

A drawing tells where each end, line and net name was put. Ends are on one net if lines or equal
names join them, so a picture that was drawn wrong is found out without anybody looking.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

from hardware.model import Box

Point = tuple[float, float]


@dataclass
class Drawn:
    """What a drawing wires; things nearer than ``near`` touch."""

    near: float
    ends: dict[str, Point] = field(default_factory=dict)
    lines: list[tuple[Point, Point]] = field(default_factory=list)
    names: list[tuple[str, Point]] = field(default_factory=list)

    def line(self, *points: Point) -> None:
        """Note a line through points, each piece upright or level."""
        self.lines += pairwise(points)

    def faults(self, box: Box) -> list[str]:
        """Return a sentence for each end that is drawn on another net than box.toml has it on."""
        drawn = self.nets()
        found = []
        for net, ends in box.net.items():
            found += [f"{end} is not drawn." for end in ends if end not in drawn]
            groups = {drawn[end] for end in ends if end in drawn}
            if len(groups) > 1:
                found.append(f"Net {net} is drawn in {len(groups)} pieces.")
            strays = (end for end, group in drawn.items() if group in groups and end not in ends)
            found += [f"{end} is drawn on net {net}." for end in strays]
        return found

    def nets(self) -> dict[str, int]:
        """Return a number for each end; ends with the same number are joined."""
        places = [*self.ends.values(), *(at for _, at in self.names)]
        places += [point for line in self.lines for point in line]
        group = list(range(len(places)))

        def root(n: int) -> int:
            while group[n] != n:
                n = group[n]
            return n

        first = len(self.ends) + len(self.names)
        for number, (one, other) in enumerate(self.lines):
            for n, place in enumerate(places):
                if self._touches(place, one, other):
                    group[root(n)] = root(first + 2 * number)
        for n, place in enumerate(places):
            for m in range(n):
                if self._touches(place, places[m], places[m]):
                    group[root(n)] = root(m)
        named: dict[str, int] = {}
        for n, (net, _) in enumerate(self.names, len(self.ends)):
            group[root(n)] = root(named.setdefault(net, n))
        return {end: root(n) for n, end in enumerate(self.ends)}

    def _touches(self, place: Point, one: Point, other: Point) -> bool:
        """Whether a place lies on a line that is upright or level."""
        return all(
            min(one[axis], other[axis]) - self.near
            <= place[axis]
            <= max(one[axis], other[axis]) + self.near
            for axis in (0, 1)
        )
