"""A sheet to draw a schematic on, which knows afterwards what it has wired.

The drawing itself is schemdraw's.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from importlib import import_module
from itertools import pairwise
from typing import Any

from handbell.base.errors import HandbellError
from hardware.drawn import Drawn, Point
from hardware.model import Box, Part

NEAR = 0.01  # ends this close are joined
LEAD = 0.5  # the line from a module's edge to its pin's end


def value(part: Part) -> str:
    """Return a part's value as a schematic says it."""
    if part.kind == "resistor":
        return f"{part.ohm / 1000:g} k" if part.ohm >= 1000 else f"{part.ohm:g} \u03a9"
    if part.kind == "capacitor":
        return f"{part.nf / 1000:g} \u00b5F" if part.nf >= 1000 else f"{part.nf:g} nF"
    return part.mark


def elements() -> Any:
    """Return schemdraw's elements, which are imported late and have no types."""
    return import_module("schemdraw.elements")


def _plain(svg: str) -> str:
    """Return the drawing with its figures rounded, so that it is the same on every machine."""

    def rounded(match: re.Match[str]) -> str:
        return f"{round(float(match[0]), 2) + 0.0:g}"

    return re.sub(r"-?\d+\.\d+", rounded, svg).replace("><", ">\n<")


class Sheet:
    """A schematic being drawn; coordinates grow rightwards and upwards."""

    def __init__(self, box: Box) -> None:
        import schemdraw

        schemdraw.use("svg")
        schemdraw.svgconfig.text = "text"  # whatever else is installed
        self.box = box
        self._drawing: Any = schemdraw.Drawing(show=False)
        self._drawing.config(fontsize=11, lw=1.6, bgcolor="white", margin=0.4)
        self.drawn = Drawn(NEAR)

    def two(
        self, ref: str, element: Any, start: Point, end: Point, ends: str, **label: Any
    ) -> None:
        """Draw a part of two ends from ``start`` to ``end``; ``ends`` names both, as "1 2"."""
        part = self.box.part[ref]
        placed = element.endpoints(start, end)
        self._drawing.add(placed.label(f"{ref}\n{value(part)}", fontsize=10, **label))
        first, last = ends.split()
        self.drawn.ends[f"{ref}.{first}"], self.drawn.ends[f"{ref}.{last}"] = start, end

    def placed(self, ref: str, element: Any, ends: dict[str, str]) -> dict[str, Point]:
        """Draw a part with anchors; ``ends`` gives the end that each anchor is."""
        drawn = self._drawing.add(element)
        points = {}
        for anchor, end in ends.items():
            at = drawn.absanchors[anchor]
            points[end] = self.drawn.ends[f"{ref}.{end}"] = (round(at[0], 4), round(at[1], 4))
        return points

    def module(
        self,
        ref: str,
        at: Point,
        wide: float,
        left: Sequence[tuple[str, str]] = (),
        right: Sequence[tuple[str, str]] = (),
        step: float = 1.0,
    ) -> dict[str, Point]:
        """Draw a box whose upper left corner is ``at``; pins are (end, what stands inside)."""
        elm = elements()
        x, y = at
        high = 1.6 + step * (max(len(left), len(right)) - 1)
        self._drawing.add(
            elm.Rect(corner1=(x, y - high), corner2=(x + wide, y)).theta(0).at((0, 0))
        )
        self.text((x + wide / 2, y + 0.3), f"{ref}  {self.box.part[ref].mark}")
        points = {}
        for pins, edge, out, halign in ((left, x, -LEAD, "left"), (right, x + wide, LEAD, "right")):
            for place, (end, label) in enumerate(pins):
                pin_y = y - 0.8 - step * place
                self._drawing.add(elm.Line().endpoints((edge, pin_y), (edge + out, pin_y)))
                inside = edge + (0.1 if halign == "left" else -0.3)
                self.text((inside, pin_y - 0.14), label, size=9.5, halign=halign)
                points[end] = self.drawn.ends[f"{ref}.{end}"] = (edge + out, pin_y)
        return points

    def wire(self, *points: Point) -> None:
        """Draw a line through points."""
        elm = elements()
        for one, other in pairwise(points):
            self._drawing.add(elm.Line().endpoints(one, other))
        self.drawn.line(*points)

    def dot(self, at: Point) -> None:
        """Mark a place where lines join."""
        elm = elements()
        self._drawing.add(elm.Dot().theta(0).at(at))

    def ground(self, at: Point) -> None:
        """Draw ground, hanging from ``at``."""
        elm = elements()
        self._drawing.add(elm.Ground().theta(0).at(at))
        self.drawn.names.append(("GND", at))

    def name(self, net: str, at: Point, way: str = "right") -> None:
        """Draw a net's name as a tag that points to ``at``."""
        elm = elements()
        tag = elm.Tag(width=0.21 * len(net) + 0.75, height=0.55).at(at)
        self._drawing.add(getattr(tag, way)().label(net, fontsize=9))
        self.drawn.names.append((net, at))

    def text(self, at: Point, words: str, size: float = 11, halign: str = "center") -> None:
        """Write words, their foot at ``at``."""
        elm = elements()
        label = elm.Label().theta(0).at(at)
        placed = label.label(words, fontsize=size, halign=halign, valign="base", ofst=0)
        self._drawing.add(placed)

    def svg(self) -> str:
        """Return the drawing, after comparing what it wires with box.toml; raises HandbellError."""
        faults = self.drawn.faults(self.box)
        if faults:
            raise HandbellError("The schematic is not box.toml: " + " ".join(faults), "Mend either")
        return _plain(self._drawing.get_imagedata("svg").decode("utf-8")) + "\n"
