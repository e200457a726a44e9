"""What a box hangs on, drawn plainly: an upright with a strap, a hook and a second line, a wall."""

from __future__ import annotations

from manifold3d import CrossSection, Manifold

from .build import Case
from .outlines import eyes, slots, wall_screws
from .render import Piece
from .shapes import block, post, rounded, union

STEEL = (0.62, 0.63, 0.66)
DARK = (0.25, 0.26, 0.30)
CORD = (0.84, 0.37, 0.0)
WALL = (0.90, 0.88, 0.84)


def _ring(middle: tuple[float, float, float], radius: float, thick: float) -> Manifold:
    """Return a ring that stands in the plane of y and z, so that it passes an eye."""
    section = CrossSection.circle(thick / 2, 24).translate((radius, 0))
    return Manifold.revolve(section, 48).rotate((0, 90, 0)).translate(middle)


def _chain(start: tuple[float, float, float], thick: float, long: float) -> Manifold:
    x, y, z = start
    return (
        Manifold.cylinder(long, thick / 2, thick / 2, 24).rotate((-90, 0, 0)).translate((x, y, z))
    )


def hung(case: Case) -> list[Piece]:
    """Return a hook in the middle eye, and the second line in a side eye, each on its own."""
    middle = case.place.deep + case.own.walls.back_mm - 6
    (x, y, _), _, (side, _, _) = eyes(case.part, case.place)
    hook = _ring((x, y + 18, middle), 18, 8) + _chain((x, y + 36, middle), 8, 45)
    line = _ring((side, y + 16, middle), 16, 5) + _chain((side, y + 32, middle), 5, 49)
    bar = block(0, y + 85, 0, 190, 26, 26, 6).translate((10, 0, middle - 13))
    return [Piece(hook, STEEL), Piece(line, CORD), Piece(bar, DARK)]


def strapped(case: Case) -> list[Piece]:
    """Return a round upright behind the box and the strap about it; the second line over it."""
    place, part = case.place, case.part
    wide, thick = part.mounting.strap
    outside = place.deep + case.own.walls.back_mm
    radius = 45.0
    upright = Manifold.cylinder(330, radius, radius, 64).rotate((-90, 0, 0))
    upright = upright.translate((0, -60, outside + radius))
    (left, y), (right, _) = slots(part, place)
    # From each slot round the upright, seen along y: the hull of the post and the two slots.
    loop = CrossSection.batch_hull(
        [CrossSection.circle(radius + thick, 64).translate((0, -outside - radius))]
        + [CrossSection.circle(thick, 12).translate((x, -outside + 2)) for x in (left, right)]
    )
    band = (loop - loop.offset(-thick)).extrude(wide).rotate((-90, 0, 0))
    strap = band.translate((0, y - wide / 2, 0))
    front = union(
        [block(x, y, place.deep - 3, thick, wide, outside - place.deep + 6) for x in (left, right)]
    )
    x, eye_y, _ = eyes(part, place)[2]
    middle = outside - 6
    line = _ring((x, eye_y + 12, middle), 12, 5) + _chain((x, eye_y + 23, middle), 5, 42)
    loop = CrossSection.circle(radius + 5, 64) - CrossSection.circle(radius, 64)
    around = loop.extrude(6).rotate((-90, 0, 0)).translate((0, eye_y + 60, outside + radius))
    line += around + block(x, 0, 0, 6, 6, 26).translate((0, eye_y + 63, middle))
    return [Piece(upright, STEEL), Piece(strap + front, DARK), Piece(line, CORD)]


def screwed(case: Case) -> list[Piece]:
    """Return a wall behind the box and four screws in its ears; the second line on a screw."""
    place, part = case.place, case.part
    outside = place.deep + case.own.walls.back_mm
    plan = rounded(236, 250, 4).translate((0, place.high / 2 + 18))
    wall = plan.extrude(10).translate((0, 0, outside))
    heads = [post(x, y, place.deep - 3.5, place.deep, 10) for x, y in wall_screws(part, place)]
    x, y, _ = eyes(part, place)[2]
    line = _ring((x, y + 16, outside - 6), 16, 5)
    anchor = post(x, y + 34, outside - 14, outside, 12)
    return [Piece(wall, WALL), Piece(union(heads), DARK), Piece(line, CORD), Piece(anchor, DARK)]
