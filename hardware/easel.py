"""What the wiring picture is made of: bodies, small parts, wires and plugs, as SVG."""

from __future__ import annotations

from collections.abc import Mapping
from xml.sax.saxutils import escape

from handbell.base.errors import HandbellError
from hardware.drawn import Drawn, Point
from hardware.model import Box
from hardware.sheet import value

FONT = "font-family='DejaVu Sans, Arial, sans-serif'"
PLUGS = {  # net: what a plug says, and its colours
    "GND": ("minus", "#222222", "white"),
    "3V3": ("3.3 V", "#b3261e", "white"),
    "BATTERY": ("battery +", "#e69f00", "black"),
    "SDA": ("SDA", "#0072b2", "white"),
    "SCL": ("SCL", "#a06a00", "white"),
    "RECEIVER_OUT": ("heard", "#1f6f9f", "white"),
    "EMITTER_PIN": ("pulses", "#b0578d", "white"),
    "EMITTER_SUPPLY": ("emitters +", "#7a4f9a", "white"),
    "GATE_DRIVE": ("gates", "#007a5a", "white"),
}
SMALL = {"resistor": "#e3d3b0", "capacitor": "#9ec9e8", "diode": "#3a3a3a", "fuse": "#e8b04a"}
SMALL["emitter"] = "#6b4a8c"
CAN = "#3b5a8c"  # an electrolytic capacitor
NEAR = 0.5


class Easel:
    """A picture being drawn; x grows rightwards, y downwards."""

    def __init__(self, box: Box, wide: int, high: int) -> None:
        self.box = box
        self.drawn = Drawn(NEAR)
        self._size = (wide, high)
        self._wires: list[str] = []
        self._things: list[str] = []

    def svg(self) -> str:
        """Return the picture, after comparing what it wires with box.toml; raises HandbellError."""
        faults = self.drawn.faults(self.box)
        if faults:
            raise HandbellError("The picture is not box.toml: " + " ".join(faults), "Mend either")
        wide, high = self._size
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" '
            f'width="{wide}" height="{high}" role="img">\n'
            f"<title>How the {self.box.product} is wired</title>\n"
            f'<rect width="{wide}" height="{high}" fill="white"/>\n'
        )
        return head + "\n".join((*self._wires, *self._things)) + "\n</svg>\n"

    def words(
        self, x: float, y: float, words: str, size: float = 14, align: str = "start",
        colour: str = "#111111", bold: bool = False,
    ) -> None:  # fmt: skip
        """Write words, their foot at ``y``."""
        weight = ' font-weight="bold"' if bold else ""
        self._things.append(
            f'<text x="{x:g}" y="{y:g}" {FONT} font-size="{size:g}" text-anchor="{align}" '
            f'fill="{colour}"{weight}>{escape(words)}</text>'
        )

    def body(self, x: float, y: float, wide: float, high: float, fill: str) -> None:
        """Draw a rectangle with round corners."""
        self._things.append(
            f'<rect x="{x:g}" y="{y:g}" width="{wide:g}" height="{high:g}" rx="8" fill="{fill}" '
            f'stroke="#111111" stroke-width="1.5"/>'
        )

    def dome(self, x: float, y: float, radius: float) -> None:
        """Draw a round face."""
        self._things.append(
            f'<circle cx="{x:g}" cy="{y:g}" r="{radius:g}" fill="#8a8a8a" stroke="#111111" '
            f'stroke-width="2"/>'
        )

    def pad(self, at: Point, used: bool) -> None:
        """Draw a solder pad of the board."""
        fill = "#f2c14e" if used else "#7fa08e"
        self._things.append(
            f'<circle cx="{at[0]:g}" cy="{at[1]:g}" r="8" fill="{fill}" stroke="#111111"/>'
        )

    def module(
        self, ref: str, x: float, y: float, wide: float, high: float,
        terminals: Mapping[str, Point], fill: str, dark: bool = True,
    ) -> None:  # fmt: skip
        """Draw a thing with named terminals on its left or right edge, its name above it."""
        self.body(x, y, wide, high, fill)
        self.words(x, y - 10, f"{ref}  {self.box.part[ref].mark}", 16, bold=True)
        shown = "switch" if self.box.part[ref].kind == "switch" else ""
        for end, at in terminals.items():
            self.pad(at, used=True)
            left = at[0] == x
            inset = 14 if left else -14
            label = "" if shown or end in ("1", "2") else end
            self.words(
                at[0] + inset, at[1] + 5, label, 14, "start" if left else "end",
                "white" if dark else "#111111",
            )  # fmt: skip
            self.drawn.ends[f"{ref}.{end}"] = at

    def wire(self, colour: str, *points: Point) -> None:
        """Draw a wire through points."""
        path = " ".join(f"{x:g},{y:g}" for x, y in points)
        self._wires.append(
            f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="4" '
            f'stroke-linejoin="round"/>'
        )
        self.drawn.line(*points)

    def two(
        self, ref: str, start: Point, end: Point, first: str, last: str, flip: bool = False
    ) -> None:
        """Draw a small part of two ends between two points, with its name and value.

        The words stand above or to the right, flipped below or to the left.
        """
        part = self.box.part[ref]
        (x1, y1), (x2, y2) = start, end
        across = y1 == y2
        x, y = (x1 + x2) / 2, (y1 + y2) / 2
        wide, high = (40, 18) if across else (18, 40)
        self._wires.append(
            f'<line x1="{x1:g}" y1="{y1:g}" x2="{x2:g}" y2="{y2:g}" stroke="#777777" '
            f'stroke-width="3"/>'
        )
        fill = CAN if part.polar else SMALL[part.kind]
        self.body(x - wide / 2, y - high / 2, wide, high, fill)
        if part.kind in ("diode", "emitter") or part.polar:
            self._stripe(start, end, first, part.polar)
        label = f"{ref} {value(part)}"
        if across:
            self.words(x, y + 28 if flip else y - 16, label, 14, "middle")
        else:
            side, align = (x - 14, "end") if flip else (x + 14, "start")
            self.words(side, y - 2, ref, 14, align)
            self.words(side, y + 15, value(part), 14, align)
        self.drawn.ends[f"{ref}.{first}"], self.drawn.ends[f"{ref}.{last}"] = start, end

    def _stripe(self, start: Point, end: Point, first: str, polar: bool) -> None:
        """Mark the end that a diode's ring or a capacitor's minus is at."""
        at_last = first in ("A", "+")
        part = 0.68 if at_last else 0.32
        x = start[0] + (end[0] - start[0]) * part
        y = start[1] + (end[1] - start[1]) * part
        wide, high = (5, 18) if start[1] == end[1] else (18, 5)
        self._things.append(
            f'<rect x="{x - wide / 2:g}" y="{y - high / 2:g}" width="{wide}" height="{high}" '
            f'fill="white"/>'
        )
        if polar:
            self.words(start[0] - 22, start[1] + 14, "+" if at_last else "-", 18, bold=True)

    def transistor(
        self, ref: str, x: float, y: float, ends: Mapping[str, Point], beside: str = ""
    ) -> None:
        """Draw a transistor with its legs' letters, its name above it or at a side of it."""
        for at in ends.values():
            self._wires.append(
                f'<line x1="{x:g}" y1="{y:g}" x2="{at[0]:g}" y2="{at[1]:g}" stroke="#777777" '
                f'stroke-width="3"/>'
            )
        self._things.append(
            f'<circle cx="{x:g}" cy="{y:g}" r="24" fill="#3a3a3a" stroke="#111111"/>'
        )
        for end, at in ends.items():
            near_x = x + max(-16, min(16, (at[0] - x) * 0.45))
            near_y = y + max(-14, min(14, (at[1] - y) * 0.35))
            self.words(near_x, near_y + 5, end, 14, "middle", "white")
            self.drawn.ends[f"{ref}.{end}"] = at
        name = f"{ref} {self.box.part[ref].mark}"
        if beside:
            side, align = (x + 30, "start") if beside == "right" else (x - 30, "end")
            self.words(side, y - 14 if beside == "right" else y + 5, name, 14, align)
        else:
            self.words(x, y - 32, name, 14, "middle")

    def plug(self, net: str, at: Point, way: str) -> None:
        """Draw a plug with a net's name, on a short wire that goes ``way`` from a point."""
        words, fill, ink = PLUGS[net]
        dx, dy = {"right": (1, 0), "left": (-1, 0), "up": (0, -1), "down": (0, 1)}[way]
        wide, high = self._plug_size(words)
        x = at[0] + dx * (22 + wide / 2)
        y = at[1] + dy * (14 + high / 2)
        self._wires.append(
            f'<line x1="{at[0]:g}" y1="{at[1]:g}" x2="{x:g}" y2="{y:g}" stroke="{fill}" '
            f'stroke-width="4"/>'
        )
        self._plug(x, y, words, fill, ink)
        self.drawn.names.append((net, at))

    def swatch(self, x: float, y: float, net: str) -> None:
        """Draw a plug that joins nothing, for the legend."""
        words, fill, ink = PLUGS[net]
        self._plug(x, y, words, fill, ink)

    def _plug(self, x: float, y: float, words: str, fill: str, ink: str) -> None:
        wide, high = self._plug_size(words)
        self._things.append(
            f'<rect x="{x - wide / 2:g}" y="{y - high / 2:g}" width="{wide:g}" '
            f'height="{high:g}" rx="11" fill="{fill}"/>'
        )
        self.words(x, y + 5, words, 14, "middle", ink)

    @staticmethod
    def _plug_size(words: str) -> tuple[float, float]:
        return 8.2 * len(words) + 18, 22
