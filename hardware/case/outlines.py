"""Outlines that two printed parts share, seen along z."""

from __future__ import annotations

from types import SimpleNamespace

from manifold3d import CrossSection

from .places import Places, Point
from .remote_places import RemotePlaces
from .shapes import rounded

EAR_MARGIN_MM = 7.0  # of material about a slot
SCREW_FIELD_MM = 14.0  # of an ear, for the screw into a wall


def walls_outline(place: Places, own: SimpleNamespace, by: float = 0.0) -> CrossSection:
    """Return the outside of the walls, moved outwards by ``by`` mm (inwards below 0)."""
    plan = rounded(2 * (place.half_wide + by), place.high + 2 * by, own.walls.corner_mm + by)
    return plan.translate((0, place.high / 2))


def window_outline(
    part: SimpleNamespace, place: Places | RemotePlaces, own: SimpleNamespace
) -> CrossSection:
    """Return the clear sheet before the display; its round corners clear the display's posts."""
    wide, high = (size + 2 * own.gaps.view_mm + 4 for size in part.display.lit)
    return rounded(wide, high, 5).translate(place.view)


def diffuser_outline(part: SimpleNamespace, place: Places) -> CrossSection:
    """Return the slot before the lamps."""
    count = round(part.lamps.pcb[0] / part.lamps.pitch)
    wide = (count - 1) * part.lamps.pitch + part.lamps.lamp[0] + 6
    return rounded(wide, part.lamps.pcb[1] + 2, 2).translate(place.lamps)


def eyes(part: SimpleNamespace, place: Places) -> list[tuple[float, float, float]]:
    """Return x, y and width of the hook's eye, then of the two eyes for the second line."""
    hook, tether = part.mounting.hook + 1, part.mounting.tether + 1
    y = place.high + place.rim + 2 + hook / 2
    side = hook / 2 + tether / 2 + 14
    return [(0, y, hook), (-side, y, tether), (side, y, tether)]


def lug_outline(part: SimpleNamespace, place: Places) -> CrossSection:
    """Return the lug over the box, in which the eyes lie; shell and back both have it."""
    (_, y, hook), _, (side, _, tether) = eyes(part, place)
    wide = 2 * (side + tether / 2 + 8)
    reach = y + hook / 2 + 8 - place.high
    plan = rounded(wide, reach + 20, 10).translate((0, place.high + (reach - 20) / 2))
    return plan ^ CrossSection.square((wide, reach + 9)).translate((-wide / 2, place.high - 3))


def slots(part: SimpleNamespace, place: Places) -> list[Point]:
    """Return the middles of the two slots for a strap."""
    x = place.half_wide + place.rim + 4 + part.mounting.strap[1] / 2
    return [(-x, place.high / 2), (x, place.high / 2)]


def wall_screws(part: SimpleNamespace, place: Places) -> list[Point]:
    """Return the middles of the four holes for screws into a wall."""
    away = part.mounting.strap[0] / 2 + EAR_MARGIN_MM + SCREW_FIELD_MM / 2
    return [(x, y + up * away) for x, y in slots(part, place) for up in (-1, 1)]


def tie_slots(part: SimpleNamespace, place: Places) -> list[Point]:
    """Return the middles of the slot pairs by which a cable is tied, under USB and jack."""
    y = -place.rim - 5.5
    return [(x + side, y) for x in (place.usb[0], place.jack[0]) for side in (-4.0, 4.0)]


def ears(part: SimpleNamespace, place: Places) -> CrossSection:
    """Return what of the back reaches out beyond the rim, at the sides and below."""
    wide, thick = part.mounting.strap
    reach = place.rim + 4 + thick + 13
    high = wide + 2 * (EAR_MARGIN_MM + SCREW_FIELD_MM)
    side = rounded(reach + 20, high, 8).translate(
        (place.half_wide + reach / 2 - 10, place.high / 2)
    )
    plan = side + side.mirror((1, 0))
    low = place.rim + 9.5
    for x in (place.usb[0], place.jack[0]):
        plan += rounded(18, low + 10, 4).translate((x, -(low - 10) / 2))
    return plan
