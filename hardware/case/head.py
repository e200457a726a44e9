"""The head on a remote's upper edge: eight sides, two rings of emitters, one level, one tilted up.

Made as it is printed: z is up, its foot at 0; ``placed`` puts it on the remote.
"""

from __future__ import annotations

import math
from types import SimpleNamespace

from manifold3d import CrossSection, Manifold

from .lights import Point3, aimed, star, star_hole
from .shapes import drop, post, prism, union

SIDES = 8
TILT_DEG = 25.0
FOOT_MM = 3.0
LEVEL_MM = 24.0  # height of the upright sides, over the foot
UPPER_MM = 20.0  # height of the tilted ones
WALL_MM = 2.3  # so that an emitter's body is flush
LID_MM = 2.0
WIRES_MM = 12.0  # the hole into the remote
SCREWS_MM = 11.0  # from the middle to either screw


def _octagon(inradius: float) -> CrossSection:
    radius = inradius / math.cos(math.pi / SIDES)
    turns = [2 * math.pi * (n + 0.5) / SIDES for n in range(SIDES)]
    return CrossSection([[(radius * math.cos(t), radius * math.sin(t)) for t in turns]])


def inradius(part: SimpleNamespace) -> float:
    """Return from the head's middle to its upright sides; stars of the upper ring clear."""
    clear = (part.emitter.star / 2 + 0.9) / math.tan(math.pi / SIDES)
    return float(clear + WALL_MM / math.cos(math.radians(TILT_DEG)) + _lean() / 2)


def _lean() -> float:
    return UPPER_MM * math.tan(math.radians(TILT_DEG))


def high() -> float:
    """Return the head's height without its lid."""
    return FOOT_MM + LEVEL_MM + UPPER_MM


def _solid(part: SimpleNamespace, less: float, low: float, top: float) -> Manifold:
    """Return the head's outside moved inwards by ``less``, from ``low`` to ``top``."""
    wide, bend = inradius(part), FOOT_MM + LEVEL_MM
    slant = less / math.cos(math.radians(TILT_DEG))
    at_bend = bend + (slant - less) / math.tan(math.radians(TILT_DEG))
    upper = wide - slant - (top - bend) * math.tan(math.radians(TILT_DEG))
    lower = prism(_octagon(wide - less), low, at_bend)
    ends = [
        prism(_octagon(wide - less), at_bend - 0.01, at_bend),
        prism(_octagon(upper), top - 0.01, top),
    ]
    return lower + Manifold.batch_hull(ends)


def ways() -> list[Point3]:
    """Return which way the emitters look as the head is printed: the level ring, then the upper."""
    found = []
    for up in (0.0, math.radians(TILT_DEG)):
        for n in range(SIDES):
            turn = 2 * math.pi * n / SIDES
            found.append(
                (math.cos(up) * math.cos(turn), math.cos(up) * math.sin(turn), math.sin(up))
            )
    return found


def seats(part: SimpleNamespace) -> list[tuple[Point3, Point3]]:
    """Return where each star's front lies, and which way it looks, as the head is printed."""
    wide, found = inradius(part), []
    for way in ways():
        level = way[2] < 0.01
        z = FOOT_MM + (LEVEL_MM / 2 if level else LEVEL_MM + UPPER_MM / 2)
        out = wide if level else wide - _lean() / 2
        flat = math.hypot(way[0], way[1])
        side = (way[0] / flat * out, way[1] / flat * out, z)
        at = tuple(one - WALL_MM * along for one, along in zip(side, way, strict=True))
        found.append(((at[0], at[1], at[2]), way))
    return found


def printed(part: SimpleNamespace, own: SimpleNamespace) -> dict[str, Manifold]:
    """Return the head, open above, and the lid that is glued on it."""
    top = high()
    shell = _solid(part, 0, 0, top) - _solid(part, WALL_MM, FOOT_MM, top + 0.02)
    screws = [(side * SCREWS_MM, 0.0) for side in (-1, 1)]
    shell += union([post(x, y, 0.1, FOOT_MM + 8, own.fixings.post_mm) for x, y in screws])
    cuts = [post(0, 0, -1, FOOT_MM + 1, WIRES_MM)]
    cuts += [post(x, y, -1, FOOT_MM + 6.5, own.fixings.small_screw_mm) for x, y in screws]
    hole = drop(star_hole(part, own)).rotate(90).extrude(WALL_MM + 3).translate((0, 0, -0.5))
    cuts += [aimed(hole, at, way) for at, way in seats(part)]
    rim = inradius(part) - _lean()
    lid = prism(_octagon(rim), top, top + LID_MM)
    inner = rim - WALL_MM / math.cos(math.radians(TILT_DEG)) - own.gaps.slide_mm - 0.5
    ring = prism(_octagon(inner) - _octagon(inner - 2), top - 1.6, top + 0.1)
    return {"head": shell - union(cuts), "lid": lid + ring}


def emitters(part: SimpleNamespace) -> Manifold:
    """Return the sixteen stars."""
    return union([aimed(star(part), at, way) for at, way in seats(part)])


def placed(solid: Manifold, high_mm: float, middle_z: float) -> Manifold:
    """Return a solid of the head where it sits: what was up is y, on the remote's upper edge."""
    return solid.rotate((-90, 0, 0)).translate((0, high_mm, middle_z))


def placed_way(way: Point3) -> Point3:
    """Return a way as ``placed`` turns it."""
    return way[0], way[2], -way[1]
