"""Solids that print without supports: rounded plates, posts, holes with a roof."""

from __future__ import annotations

import math

from manifold3d import CrossSection, JoinType, Manifold, OpType

SEGMENTS = 48  # of a full circle


def rounded(wide: float, high: float, radius: float) -> CrossSection:
    """Return a rectangle with round corners, its middle at (0, 0); mm."""
    core = CrossSection.square((wide - 2 * radius, high - 2 * radius), True)
    return core.offset(radius, JoinType.Round, 2.0, SEGMENTS)


def grown(outline: CrossSection, by: float) -> CrossSection:
    """Return an outline moved outwards, or inwards where ``by`` is below 0; corners stay round."""
    return outline.offset(by, JoinType.Round, 2.0, SEGMENTS)


def prism(outline: CrossSection, low: float, high: float) -> Manifold:
    """Return an outline drawn up from z = low to z = high."""
    return outline.extrude(high - low).translate((0, 0, low))


def block(
    x: float, y: float, low: float, wide: float, long: float, high: float, radius: float = 0.0
) -> Manifold:
    """Return a block with its middle at (x, y), its foot at z = low; upright edges of a radius."""
    plan = rounded(wide, long, radius) if radius else CrossSection.square((wide, long), True)
    return prism(plan.translate((x, y)), low, low + high)


def post(x: float, y: float, low: float, high: float, wide: float) -> Manifold:
    """Return a round post from z = low to z = high; also a round hole to cut."""
    return Manifold.cylinder(high - low, wide / 2, wide / 2, SEGMENTS).translate((x, y, low))


def cone(
    x: float, y: float, low: float, high: float, wide_low: float, wide_high: float
) -> Manifold:
    """Return a cone from z = low to z = high."""
    return Manifold.cylinder(high - low, wide_low / 2, wide_high / 2, SEGMENTS).translate(
        (x, y, low)
    )


def edged(outline: CrossSection, radius: float, high: float) -> Manifold:
    """Return a convex outline as a solid whose edge on the bed is round, yet never over 45 degrees.

    The arc begins at 45 degrees on the bed and ends upright, ``radius`` x sin 45 higher.
    """
    layers = []
    for step in range(7):
        turn = math.radians(45 - 7.5 * step)
        inset = radius * (1 - math.cos(turn))
        level = radius * (math.sin(math.radians(45)) - math.sin(turn))
        layers.append(prism(grown(outline, -inset), level, level + 0.01))
    layers.append(prism(outline, high - 0.01, high))
    return Manifold.batch_hull(layers)


def softened(outline: CrossSection, low: float, high: float, by: float) -> Manifold:
    """Return convex outlines drawn up, their lower and upper edges taken off at 45 degrees."""
    pieces = []
    for piece in outline.decompose():
        less = grown(piece, -by)
        layers = [prism(less, low, high), prism(piece, low + by, high - by)]
        pieces.append(Manifold.batch_hull(layers))
    return union(pieces)


def flared(
    inner: CrossSection, outer: CrossSection, low: float, mid: float, high: float
) -> Manifold:
    """Return a convex solid that widens from ``inner`` at low to ``outer`` at mid, then stands."""
    foot = prism(inner, low, low + 0.01)
    return Manifold.batch_hull(
        [foot, prism(outer, mid, mid + 0.01), prism(outer, high - 0.01, high)]
    )


def hung_boss(x: float, y: float, top: float, wide: float, wall: tuple[float, float]) -> Manifold:
    """Return a boss at (x, y) that hangs on a wall's point, its underside sloping at 45 degrees."""
    low = top - wide
    fall = math.hypot(wall[0] - x, wall[1] - y) + wide / 2
    foot = post(*wall, low - fall, low - fall + 0.01, 1.0)
    return Manifold.batch_hull([post(x, y, low, top, wide), foot])


def drop(wide: float) -> CrossSection:
    """Return a round hole with a roof of 45 degrees, for walls that stand up; roof towards +y."""
    half = wide / 2
    tip = CrossSection.square((0.02, 0.02), True).translate((0, half * math.sqrt(2) - 0.03))
    return CrossSection.batch_hull([CrossSection.circle(half, SEGMENTS), tip])


def through_wall(shape: CrossSection, x: float, z: float, y_from: float, y_to: float) -> Manifold:
    """Return a cutter along y: the shape's x stays x, its y becomes z."""
    solid = shape.extrude(y_to - y_from).rotate((90, 0, 0))
    return solid.translate((x, y_to, z))


def wedge_along_x(profile: list[tuple[float, float]], x_from: float, x_to: float) -> Manifold:
    """Return a bar along x with a profile of (y, z) points, counter-clockwise."""
    solid = CrossSection([profile]).extrude(x_to - x_from)
    # (p, q, r) -> x = r, y = p, z = q
    return solid.transform(((0, 0, 1, x_from), (1, 0, 0, 0), (0, 1, 0, 0)))


def corners(
    x: float, y: float, low: float, wide: float, long: float, high: float, wall: float
) -> Manifold:
    """Return four corner walls about a cuboid whose middle is (x, y); no upright edge is sharp."""
    outer = rounded(wide + 2 * wall, long + 2 * wall, wall)
    ring = outer - rounded(wide, long, 0.5)
    gap_x = CrossSection.square((wide * 0.5, long + 4 * wall), True)
    gap_y = CrossSection.square((wide + 4 * wall, long * 0.5), True)
    pieces = (ring - gap_x) - gap_y
    softened = pieces.offset(-0.5).offset(0.5, JoinType.Round, 2.0, SEGMENTS)
    return prism(softened.translate((x, y)), low, low + high)


def union(solids: list[Manifold]) -> Manifold:
    """Return all solids as one."""
    return Manifold.batch_boolean(solids, OpType.Add)
