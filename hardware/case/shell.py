"""The shell: face and walls in one, printed with the face on the bed."""

from __future__ import annotations

import math
from types import SimpleNamespace

from manifold3d import CrossSection, Manifold

from . import lights
from .outlines import diffuser_outline, ears, eyes, lug_outline, walls_outline, window_outline
from .places import Places, Point
from .remote_places import RemotePlaces
from .shapes import (
    block,
    cone,
    corners,
    drop,
    edged,
    flared,
    grown,
    hung_boss,
    post,
    prism,
    rounded,
    through_wall,
    union,
    wedge_along_x,
)

Post = tuple[float, float, float]  # x, y and top

SCREW_MM = 12.0  # M3 x 12
RAIL_MM = 3.0  # how far a rail reaches over the carrier's edge


def build(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> Manifold:
    """Return the shell."""
    shell = union(
        [
            _body(part, place, own),
            *_columns_and_posts(part, place, own),
            *_rails(part, place, own),
            charger_bay(part, place, own),
            _receiver_bay(part, place, own),
            lights.bays(part, place),
        ]
    )
    top, posts = place.deep, small_posts(part, place, own)
    cuts = _face_openings(part, place, own) + _doors(part, place, own)
    cuts += bored(part, place, own, posts, own.walls.back_mm)
    cuts += [_eye(x, y, wide, place, own) for x, y, wide in eyes(part, place)]
    notches = grown(ears(part, place) + lug_outline(part, place), own.gaps.slide_mm)
    cuts.append(prism(notches, top, top + own.walls.back_mm + 1))
    return shell - union(cuts)


def _body(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> Manifold:
    """Return face, walls, the rim about the back's seam, the lug, and the lip under the face."""
    walls = walls_outline(place, own)
    top = place.deep + own.walls.back_mm
    foot = place.deep - 2 - place.rim
    # Sweat that runs down the face drops off the lip before it reaches the openings.
    lip = [(0.5, 0.0), (0.5, 6.0), (-2.5, 3.0), (-2.5, 1.5), (-1.0, 0.0)]
    half = place.half_wide - own.walls.corner_mm
    body = union(
        [
            edged(walls, own.walls.edge_mm, top),
            flared(walls, walls_outline(place, own, place.rim), foot, place.deep - 2, top),
            wedge_along_x(lip, -half, half),
            _lug(part, place, own),
        ]
    )
    body -= prism(
        walls_outline(place, own, -own.walls.side_mm), own.walls.face_mm, place.deep + 0.01
    )
    return body - prism(walls_outline(place, own, place.seat), place.deep, top + 1)


def _lug(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> Manifold:
    """Return the shell's share of the eyes, on a slope that prints without supports."""
    plan = lug_outline(part, place)
    low = place.deep - own.fixings.lug_mm
    left, near, right, far = plan.bounds()
    reach = far - near
    strip = CrossSection.square((right - left - 6, 0.01)).translate((left + 3, near))
    return Manifold.batch_hull(
        [
            prism(grown(plan, -3), low, low + 0.01),
            prism(plan, low + 3, place.deep),
            prism(strip, low - reach + 3, low - reach + 3.01),
        ]
    )


def _eye(x: float, y: float, wide: float, place: Places, own: SimpleNamespace) -> Manifold:
    """Return the cut of an eye; its upper edge, on which a cord hangs, is made blunt."""
    start = place.deep - own.fixings.lug_mm - 4
    blunt = cone(x, y, start - 20, start, wide + 40, wide)
    upper = block(x, y + 50, start - 30, 200, 100, 60)
    return post(x, y, 0, place.deep + 1, wide) + (blunt ^ upper)


def window_openings(
    part: SimpleNamespace, place: Places | RemotePlaces, own: SimpleNamespace
) -> list[Manifold]:
    """Return what is cut from the face for the display and the clear sheet before it."""
    face, slide = own.walls.face_mm, own.gaps.slide_mm
    wide, high = (size + 2 * own.gaps.view_mm for size in part.display.lit)
    opening = rounded(wide, high, 1.5).translate(place.view)
    slope = own.walls.recess_mm - own.print.wall_least_mm  # the rest stands up: no thin edge
    return [
        flared(grown(opening, slope), opening, -0.01, slope, slope + 0.01),
        prism(opening, slope, face),
        prism(grown(window_outline(part, place, own), slide), own.walls.recess_mm, face + 1),
    ]


def _face_openings(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> list[Manifold]:
    face, slide = own.walls.face_mm, own.gaps.slide_mm
    lamps = diffuser_outline(part, place)
    return [
        *window_openings(part, place, own),
        prism(lamps, -1, face + 1),
        flared(lamps, grown(lamps, 2), face - 2, face, face + 0.02),
        post(*place.button, -1, face + 1, part.button.hole + slide),
        *_receiver_opening(part, place, own),
        *lights.openings(part, place, own),
    ]


def _receiver_opening(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> list[Manifold]:
    """Return the hole for the receiver's dome; it widens outward, so that light may come aslant."""
    face, wide = own.walls.face_mm, part.receiver.dome + 2 * own.gaps.slide_mm
    deep = face - 1.5  # the dome's own share stands upright
    return [
        post(*place.receiver, -1, face + 1, wide),
        cone(*place.receiver, -0.01, deep, wide + 2 * deep, wide),
    ]


def _receiver_bay(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> Manifold:
    """Return corners about the receiver, which is glued over its hole."""
    wide, high = (size + own.gaps.part_mm for size in part.receiver.body)
    return corners(*place.receiver, own.walls.face_mm - 0.5, wide, high, part.receiver.deep, 2.0)


def _doors(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> list[Manifold]:
    """Return what is cut from the bottom wall: for USB, switch, jack and sound."""
    low, high = -place.rim - 1, own.walls.side_mm + 0.01
    # The carrier stands on edge: a plug's width lies along z.
    plug = CrossSection.square((part.board.usb_plug[1], part.board.usb_plug[0]), True)
    switch = CrossSection.square((part.switch.cut[1], part.switch.cut[0]), True)
    cuts = [
        through_wall(plug, *place.usb, low, high),
        through_wall(switch, *place.switch, low, high),
        through_wall(drop(part.jack.hole), *place.jack, low, high),
    ]
    pitch, wide = 6.0, 3.0
    most = (part.speaker.grille - wide) / 2
    for row in range(-3, 4):
        for column in range(-3, 4):
            x, z = (column + row % 2 / 2) * pitch, row * pitch * 0.866
            if x * x + z * z <= most * most:
                hole = through_wall(
                    drop(wide), place.speaker[0] + x, place.speaker[1] + z, low, high
                )
                cuts.append(hole)
    return cuts


def small_posts(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> list[Post]:
    """Return x, y and top of the posts that display and lamp bar are screwed to."""
    lamps = [(x, y, place.lamp_bar_z) for x, y in place.lamp_posts]
    return display_posts(part, place, own) + lamps


def display_posts(
    part: SimpleNamespace, place: Places | RemotePlaces, own: SimpleNamespace
) -> list[Post]:
    """Return x, y and top of the posts that the display is screwed to."""
    wide, high = part.display.holes
    top = own.walls.face_mm + own.gaps.glass_mm + own.gaps.part_mm
    x, y = place.display
    return [(x + right * wide / 2, y + up * high / 2, top) for right in (-1, 1) for up in (-1, 1)]


def _columns_and_posts(
    part: SimpleNamespace, place: Places, own: SimpleNamespace
) -> list[Manifold]:
    low, deep = own.walls.face_mm - 0.5, place.deep
    solids = [post(x, y, low, deep - 0.15, own.load.column_mm) for x, y in place.columns]
    hung = [_wall_point(x, y, place, own) for x, y in place.bosses]
    return solids + standing(part, place, own, small_posts(part, place, own), hung)


def standing(
    part: SimpleNamespace, place: Places | RemotePlaces, own: SimpleNamespace, posts: list[Post],
    hung: list[Point],
) -> list[Manifold]:  # fmt: skip
    """Return the back's bosses, each hung on a point of a wall, and posts clear of the glass."""
    solids = [
        hung_boss(x, y, place.deep, own.fixings.boss_mm, wall)
        for (x, y), wall in zip(place.bosses, hung, strict=True)
    ]
    wide, high = (size + 0.6 for size in part.display.glass)
    glass = block(*place.view, own.walls.face_mm, wide, high, 20)
    low = own.walls.face_mm - 0.5
    solids += [post(x, y, low, top, own.fixings.post_mm) - glass for x, y, top in posts]
    return solids


def bored(
    part: SimpleNamespace, place: Places | RemotePlaces, own: SimpleNamespace, posts: list[Post],
    back_mm: float,
) -> list[Manifold]:  # fmt: skip
    """Return the holes in bosses, as deep as a screw through the back reaches, and in posts."""
    low, deep = place.deep - (SCREW_MM - back_mm + 0.7), place.deep + 1
    cuts = [post(x, y, low, deep, part.fasteners.insert_hole) for x, y in place.bosses]
    foot, wide = own.walls.face_mm - 3.5, own.fixings.small_screw_mm
    return cuts + [post(x, y, foot, top + 1, wide) for x, y, top in posts]


def _wall_point(x: float, y: float, place: Places, own: SimpleNamespace) -> Point:
    """Return the point within the wall that a boss hangs on: the nearest one, or the corner's."""
    reach = own.fixings.boss_mm / 2 + own.walls.side_mm / 2
    aside = math.copysign(1, x) if place.inside - abs(x) < own.fixings.boss_mm else 0
    up = 0
    if y < reach + own.walls.side_mm:
        up = -1
    elif y > place.high - reach - own.walls.side_mm:
        up = 1
    return x + aside * reach * (0.5 if up else 1), y + up * reach * (0.5 if aside else 1)


def _rails(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> list[Manifold]:
    """Return the two rails between which the carrier slides in from behind, and what holds them."""
    low, high = own.walls.face_mm - 0.5, place.deep - 14 - own.walls.face_mm
    # The board's sockets begin at the carrier's lower edge: the lower rail ends before them.
    short = place.carrier_z - part.board.pcb[1] / 2 - 2 - low
    thick, slide = part.carrier.thick, own.gaps.slide_mm
    slot, wide = place.carrier_x + thick / 2, thick + 5
    rails = []
    for edge, up, tall in zip(place.carrier_y, (-1, 1), (short, high), strict=True):
        back, near = edge + up * 2.5, edge - up * RAIL_MM
        rail = block(slot, (back + near) / 2, low, wide, abs(back - near), tall)
        gap, depth = edge + up * slide, RAIL_MM + 1
        rail -= block(slot, gap - up * depth / 2, low, thick + 2 * slide, depth, tall + 1)
        rails.append(rail)
    # The lower rail stands against the bottom wall, the upper one is stayed by the right wall.
    start, end = slot, place.inside + 0.5
    rails.append(block(slot, own.walls.side_mm, low, wide, 2, short))
    stay = block((start + end) / 2, place.carrier_y[1] + 1.6, low, end - start, 1.8, high)
    return [*rails, stay]


def charger_bay(
    part: SimpleNamespace, place: Places | RemotePlaces, own: SimpleNamespace
) -> Manifold:
    """Return corners about the charger, which lies on adhesive tape on the face."""
    long, wide = (size + 2 * own.gaps.part_mm for size in part.charger.pcb)
    low = own.walls.face_mm - 0.5
    return corners(*place.charger, low, wide, long, part.charger.deep, 2.0)
