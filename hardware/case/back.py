"""The back: closes the shell, carries the battery, and is what the box is mounted by."""

from __future__ import annotations

from types import SimpleNamespace

from manifold3d import CrossSection, Manifold

from .outlines import ears, eyes, lug_outline, slots, tie_slots, wall_screws, walls_outline
from .places import Places
from .remote_places import RemotePlaces
from .shapes import block, cone, corners, post, prism, softened, union


def build(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> Manifold:
    """Return the back; its inside is at z = deep, its outside is printed on the bed."""
    low, thick = place.deep, own.walls.back_mm
    edge = place.seat - own.gaps.slide_mm
    inside = walls_outline(place, own, edge)
    plate = prism(inside, low, low + thick)
    for reaching in (ears(part, place), lug_outline(part, place)):
        plate += softened(reaching, low, low + thick, 1.0)
    plate += union([cell_bay(part, place, own), _clock_bay(part, place, own)])
    outer = edge - own.seal.land_mm
    groove = walls_outline(place, own, outer)
    groove -= walls_outline(place, own, outer - own.seal.cord_mm * 1.2)
    cord = prism(groove, low - 1, low + own.seal.cord_mm * (1 - own.seal.squeeze))
    return plate - cord - union(_holes(part, place, own))


def _holes(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> list[Manifold]:
    low, high = place.deep, place.deep + own.walls.back_mm
    head, screw = own.fixings.head_mm, part.fasteners.screw + 0.4
    cuts = []
    for x, y in place.bosses:
        cuts.append(post(x, y, low - 1, high + 1, screw))
        cuts.append(cone(x, y, high - (head - screw) / 2, high + 0.01, screw, head + 0.02))
    wide, thick = part.mounting.strap
    cuts += [block(x, y, low - 1, thick + 1, wide + 2, 20, 1.5) for x, y in slots(part, place)]
    cuts += [block(x, y, low - 1, 2.0, 5.0, 20) for x, y in tie_slots(part, place)]
    for x, y in wall_screws(part, place):
        cuts.append(post(x, y, low - 1, high + 1, own.fixings.wall_screw_mm))
    for x, y, eye in eyes(part, place):
        cuts.append(post(x, y, low - 1, high + 1, eye))
        cuts.append(cone(x, y, high - 1, high + 0.01, eye, eye + 2.02))
    return cuts


def cell_bay(part: SimpleNamespace, place: Places | RemotePlaces, own: SimpleNamespace) -> Manifold:
    """Return round-edged corner walls about the cell's holder, and loops for its strap."""
    wide, long = (size + 2 * own.gaps.part_mm for size in part.cell.box)
    high = 12.0
    bay = corners(*place.cell, place.deep - high, wide, long, high + 0.5, 2.4)
    x, y = place.cell
    loops = []
    for up in (-1, 1):
        middle = y + up * (long / 2 + 2.5)
        loop = block(x, middle, place.deep - 12, 18, 3, 12.5, 1.2)
        loops.append(loop - _strap_gap(x, middle, place.deep))
    return union([bay, *loops])


def _strap_gap(x: float, y: float, deep: float) -> Manifold:
    """Return the gap of a loop: 10 mm wide for the strap, its roof at 45 degrees."""
    plan = CrossSection([[(0, -8), (5, -3), (5, -0.8), (-5, -0.8), (-5, -3)]])
    return plan.extrude(10).rotate((90, 0, 0)).translate((x, y + 5, deep))


def _clock_bay(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> Manifold:
    """Return corners about the clock part, where one is fitted."""
    long, wide = (size + 2 * own.gaps.part_mm for size in part.clock.pcb)
    return corners(*place.clock, place.deep - 4, wide, long, 4.5, 2.0)
