"""Windows for infra-red: where a box's receivers and emitters look out, a third of a turn apart.

One of each looks out of the face; two more sit in a bay on either side wall, turned back by 30
degrees, so that nothing of the box is in their way. The emitters are on star boards that are glued
behind a wall just so thick that their lenses are flush.
"""

from __future__ import annotations

import math
from types import SimpleNamespace

from manifold3d import CrossSection, Manifold

from .places import Places
from .shapes import block, cone, drop, post, union

Point3 = tuple[float, float, float]
TURN_DEG = 120.0
BAY_MM = 24.0  # the bay's front, from edge to edge
BAY_TALL_MM = 40.0  # along y
BAY_TOP_MM = 41.0  # z of the front's upper edge, on the wall
END_MM = 2.0  # the bay's ends and its lower wall
APART_MM = (-8.0, 13.0)  # of star and receiver from the bay's middle, along y


def aimed(solid: Manifold, at: Point3, way: Point3) -> Manifold:
    """Return a solid along +z turned so that it goes the way, from ``at``."""
    x, y, z = way
    tilt = math.degrees(math.acos(z))
    return solid.rotate((0, tilt, math.degrees(math.atan2(y, x)))).translate(at)


def star(part: SimpleNamespace) -> Manifold:
    """Return an emitter on its star board, whose front is at z = 0; it shines towards +z."""
    size = part.emitter
    wires = post(0, 0, -size.thick - size.solder, -size.thick, size.star * 0.6)
    body = block(0, 0, 0, size.lens, size.lens, size.over, 1.0)
    return union([post(0, 0, -size.thick, 0, size.star), body, wires])


def star_hole(part: SimpleNamespace, own: SimpleNamespace) -> float:
    """Return how wide the hole about an emitter's body is."""
    return float(part.emitter.lens * math.sqrt(2) + 2 * own.gaps.slide_mm)


def ways() -> list[Point3]:
    """Return which way a box's receivers and emitters look: ahead, and to either side."""
    turn = math.radians(TURN_DEG)
    side, back = math.sin(turn), -math.cos(turn)
    return [(0.0, 0.0, -1.0), (side, 0.0, back), (-side, 0.0, back)]


def _front(part: SimpleNamespace, place: Places) -> tuple[float, float]:
    """Return x and z of the middle of the right bay's front."""
    turn = math.radians(TURN_DEG - 90)
    return (
        place.half_wide + BAY_MM / 2 * math.sin(turn),
        BAY_TOP_MM - BAY_MM / 2 * math.cos(turn),
    )


def seats(part: SimpleNamespace, place: Places) -> list[tuple[Point3, Point3, Point3]]:
    """Return for each way: where a star's front lies, where a receiver's, and the way."""
    over = part.emitter.over
    face, *sides = ways()
    found = [((*place.emitter, over), (*place.receiver, place.face), face)]
    x, z = _front(part, place)
    for way in sides:
        sign = math.copysign(1, way[0])
        seat = (sign * x - over * way[0], z - over * way[2])
        star_at, receiver_at = ((seat[0], place.bays + along, seat[1]) for along in APART_MM)
        found.append((star_at, receiver_at, way))
    return found


def _along_y(profile: list[tuple[float, float]], y: float, tall: float) -> Manifold:
    """Return a bar along y with a profile of (x, z) points, clockwise."""
    bar = CrossSection([[(z, x) for x, z in profile]]).extrude(tall)
    # (p, q, r) -> z = p, x = q, y = r
    return bar.transform(((0, 1, 0, 0), (0, 0, 1, y - tall / 2), (1, 0, 0, 0)))


def _bay(part: SimpleNamespace, place: Places) -> tuple[Manifold, Manifold]:
    """Return the right bay's solid, and what is hollow in it and opens into the box."""
    turn = math.radians(TURN_DEG - 90)
    along, (x, z) = (-math.sin(turn), math.cos(turn)), _front(part, place)
    wall = place.half_wide
    low = (x - along[0] * BAY_MM / 2, z - along[1] * BAY_MM / 2)
    fall = (low[0] - wall) * 1.03  # a little steeper than 45 degrees
    outer = [
        (wall - 1.0, BAY_TOP_MM + 1.7), (wall, BAY_TOP_MM), low, (wall, low[1] - fall),
        (wall - 1.0, low[1] - fall - 1.0),
    ]  # fmt: skip
    over, reach = part.emitter.over, part.emitter.star / 2 + 0.6
    seat = (x - over * math.cos(turn), z - over * math.sin(turn))
    inside = wall - 4.0
    lower = (seat[0] - along[0] * reach, seat[1] - along[1] * reach)
    rise = (seat[0] - inside) / -along[0]
    fallen = (lower[0] - inside) * 1.03
    hollow = [
        (inside, seat[1] + along[1] * rise), lower, (inside, lower[1] - fallen),
    ]  # fmt: skip
    solid = _along_y(outer, place.bays, BAY_TALL_MM)
    return solid, _along_y(hollow, place.bays, BAY_TALL_MM - 2 * END_MM)


def _both(right: Manifold) -> Manifold:
    return right + right.mirror((1, 0, 0))


def bays(part: SimpleNamespace, place: Places) -> Manifold:
    """Return the bays on both side walls, still full."""
    return _both(_bay(part, place)[0])


def openings(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> list[Manifold]:
    """Return what is cut for the emitters, and for the receivers at the sides."""
    cuts = [_both(_bay(part, place)[1])]
    over, hole = part.emitter.over, star_hole(part, own)
    dome = part.receiver.dome + 2 * own.gaps.slide_mm
    x, y = place.emitter
    cuts += [post(x, y, -1, over + 0.1, hole), post(x, y, over, place.face + 1, pocket(part))]
    for star_at, receiver_at, way in seats(part, place)[1:]:
        for at, wide in ((star_at, hole), (receiver_at, dome)):
            cut = drop(wide).rotate(90).extrude(over + 3).translate((0, 0, -0.5))
            cuts.append(aimed(cut, at, way))
        flare = cone(0, 0, over - 1.0, over + 0.02, dome, dome + 2)
        cuts.append(aimed(flare, receiver_at, way))
    return cuts


def pocket(part: SimpleNamespace) -> float:
    """Return how wide the pocket for a star board is."""
    return float(part.emitter.star + 0.5)


def bought(part: SimpleNamespace, place: Places) -> dict[str, Manifold]:
    """Return the emitters and receivers at their places."""
    stars, receivers = [], []
    size = part.receiver
    for star_at, receiver_at, way in seats(part, place):
        stars.append(aimed(star(part), star_at, way))
        dome = post(0, 0, -0.1, 1.2, size.dome)
        wide, high = size.body if way[2] < 0 else reversed(size.body)  # turned: x is upright
        body = block(0, 0, -size.deep, wide, high, size.deep)
        receivers.append(aimed(dome + body, receiver_at, way))
    return {"emitters": union(stars), "receivers": union(receivers)}
