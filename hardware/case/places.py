"""Where everything lies in the case: it follows from the sizes, from the bottom up."""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

Point = tuple[float, float]
SCREWS_APART_MM = 67.0  # at most, along the seal
CLOCK_Y_MM = 34.0  # the lower edge of clock part and charger


@dataclass(frozen=True)
class Places:
    """Lengths in mm, in the case's frame. Points are the middles of what they are named after."""

    half_wide: float  # to the outside of the wall
    inside: float  # to the inside of the wall
    high: float
    deep: float  # from the face to the inside of the back
    seat: float  # from the wall's outside out to the lip's inside
    rim: float  # from the wall's outside out to the lip's outside
    button: Point
    columns: tuple[Point, ...]
    view: Point
    display: Point
    receiver: Point
    emitter: Point
    bays: float  # y of the middle of the bays at the sides
    face: float  # z of the face's inside
    lamps: Point
    lamp_bar_z: float
    lamp_posts: tuple[Point, ...]
    carrier_x: float  # the side of its board that carries the parts
    carrier_y: tuple[float, float]  # its lower and upper edge
    carrier_z: float  # its middle
    usb: Point  # x and z of the socket
    bosses: tuple[Point, ...]
    switch: Point  # x and z
    jack: Point  # x and z
    speaker: Point  # x and z
    charger: Point
    clock: Point
    cell: Point
    driver: tuple[float, float, float]  # x, y and z of the middle of its board's block


def _columns(part: SimpleNamespace, own: SimpleNamespace) -> list[Point]:
    """Return the columns under the button's collar, from its middle; none right below it."""
    radius = part.button.collar / 2 + 2 - own.load.column_mm / 2
    turn = 2 * math.pi / own.load.columns
    angles = [turn * (n + 0.5) for n in range(own.load.columns)]
    return [(radius * math.cos(a), radius * math.sin(a)) for a in angles]


def _between(start: float, end: float) -> list[float]:
    """Return evenly spaced points between two screws, so near that the back seals."""
    parts = math.ceil((end - start) / SCREWS_APART_MM)
    return [start + (end - start) * n / parts for n in range(1, parts)]


def places(part: SimpleNamespace, own: SimpleNamespace) -> Places:
    """Return the places.

    Bottom wall, from the right as seen from behind: USB, switch and jack, loudspeaker. The carrier
    stands on edge at the right, so that its USB socket looks down, away from sweat.
    """
    walls = _walls(part, own)
    face = _face(part, own, walls)
    return Places(**walls, **face, **_inside(part, own, walls, face))


def _walls(part: SimpleNamespace, own: SimpleNamespace) -> dict[str, Any]:
    """Return width and depth: the strip, or the carrier beside the columns, is the widest."""
    wall, apart = own.walls.side_mm, own.gaps.apart_mm
    column_side = _columns(part, own)[0][0] + own.load.column_mm / 2
    beside = column_side + apart + part.carrier.deep + apart + own.fixings.boss_mm
    half_wide = max(part.lamps.pcb[0] / 2 + 1 + _edge(own), beside + wall)
    groove = own.seal.cord_mm * 1.2
    seat = groove + 2 * own.seal.land_mm + own.gaps.slide_mm - wall
    return {
        "half_wide": half_wide,
        "inside": half_wide - wall,
        "deep": max(part.button.below + 3, own.walls.face_mm + part.carrier.pcb[1] + 2 * apart),
        "seat": seat,
        "rim": seat + own.seal.lip_mm,
    }


def _edge(own: SimpleNamespace) -> float:
    """Return from the wall's outside to what may lie on the flat of the face."""
    return float(0.3 * own.walls.edge_mm + 4)


def _face(part: SimpleNamespace, own: SimpleNamespace, walls: dict[str, Any]) -> dict[str, Any]:
    """Return what shows on the face, from the bottom up: button, display, lamps."""
    wall, apart, boss = own.walls.side_mm, own.gaps.apart_mm, own.fixings.boss_mm
    column, ring = own.load.column_mm / 2, _columns(part, own)
    # Clear of the corner's rounding; its rim lies under a column, its magnet must not.
    speaker_x = -walls["inside"] + own.walls.corner_mm - wall - 1 + part.speaker.round / 2
    magnet_clear = speaker_x + part.speaker.magnet / 2 + apart < -ring[0][0] - column
    below = boss if magnet_clear else max(boss, part.speaker.deep)
    button_y = max(
        part.button.collar / 2 + _edge(own),
        wall + below + apart + column - min(y for _, y in ring),
        wall + part.switch.below + apart + part.button.nut / 2,
    )
    bevel = own.walls.recess_mm - own.print.wall_least_mm + own.gaps.view_mm
    view_y = button_y + part.button.collar / 2 + 4 + bevel + part.display.lit[1] / 2
    display_y = view_y - part.display.lit_shift[1]
    lamps_half = part.lamps.pcb[1] / 2 + 3
    lamps_y = display_y + part.display.pcb[1] / 2 + apart + lamps_half
    return {
        "high": lamps_y + lamps_half + apart + wall,
        "button": (0.0, button_y),
        "columns": tuple((x, y + button_y) for x, y in ring),
        "view": (0.0, view_y),
        "display": (0.0, display_y),
        # Beside the display, well below the lamps.
        "receiver": (-part.display.pcb[0] / 2 - 8, display_y - 10),
        # On the other side, between the carrier's rail and the lamp bar's post.
        "emitter": (part.display.pcb[0] / 2 + 10.6, display_y + 6.5),
        "bays": (lamps_y + lamps_half + apart + wall) / 2,
        "face": own.walls.face_mm,
        "lamps": (0.0, lamps_y),
        "lamp_bar_z": own.walls.face_mm + 9,
        "lamp_posts": tuple((x, lamps_y - lamps_half - 4) for x in (-52.0, 52.0)),
        "speaker": (speaker_x, own.walls.face_mm + apart / 2 + part.speaker.round / 2),
    }


def _inside(
    part: SimpleNamespace, own: SimpleNamespace, walls: dict[str, Any], face: dict[str, Any]
) -> dict[str, Any]:
    """Return what lies inside: carrier, doors, screws, and the boards on the left."""
    wall, apart, boss = own.walls.side_mm, own.gaps.apart_mm, own.fixings.boss_mm
    inside = walls["inside"]
    low = wall + part.board.usb_out + 0.7
    high = low + part.carrier.pcb[0]
    carrier_outside = inside - boss - apart  # a boss stands between it and the wall
    carrier_x = carrier_outside - 2 - part.carrier.thick  # 2: what its solder stands out
    socket = part.board.deep - 1.5  # the USB socket's middle over the carrier
    middle_z = own.walls.face_mm + apart + part.carrier.pcb[1] / 2
    switch_z = own.walls.face_mm + 5 + part.switch.bezel[0] / 2
    over = max(high, *(y + own.load.column_mm / 2 for _, y in face["columns"]))
    left = -inside + part.charger.pcb[1] / 2 + 4, -inside + boss + 5 + part.clock.pcb[1] / 2
    return {
        "carrier_x": carrier_x,
        "carrier_y": (low, high),
        "carrier_z": middle_z,
        "usb": (carrier_x - socket, middle_z),
        "switch": (0.0, switch_z),
        "jack": (0.0, switch_z + (part.switch.bezel[0] + part.jack.body) / 2 + 6),
        "bosses": _bosses(part, own, inside, face),
        "charger": (left[0], CLOCK_Y_MM + part.charger.pcb[0] / 2),
        "clock": (left[1], CLOCK_Y_MM + part.clock.pcb[0] / 2),
        "driver": _driver(part, own, inside, face),
        "cell": (0.0, over + 5 + part.cell.box[1] / 2),  # 5: a strap's loop
    }


def _driver(
    part: SimpleNamespace, own: SimpleNamespace, inside: float, face: dict[str, Any]
) -> tuple[float, float, float]:
    """Return the driver's board: upright along the left wall, over the bay's boss."""
    x = -inside + part.driver.deep / 2 + 2.5
    boss = _between(own.walls.side_mm + own.fixings.boss_mm / 2 - 0.5, face["high"] - 7.0)
    near = min(boss, key=lambda y: abs(y - face["bays"]))
    low = max(near + own.fixings.boss_mm / 2 + 2.2, CLOCK_Y_MM + part.clock.pcb[0] + 0.6)
    y = low + part.driver.pcb[1] / 2
    return x, y, own.walls.face_mm + 6 + part.driver.pcb[0] / 2


def _bosses(
    part: SimpleNamespace, own: SimpleNamespace, inside: float, face: dict[str, Any]
) -> tuple[Point, ...]:
    """Return the screws of the back: in the corners, and between them along the walls."""
    wall, half = own.walls.side_mm, own.fixings.boss_mm / 2
    side, low, top = inside - half + 0.5, wall + half - 0.5, face["high"] - wall - half + 0.5
    speaker_right = face["speaker"][0] + part.speaker.round / 2
    middle = min(face["columns"][0][0] + half, -speaker_right)
    return (
        *((x, low) for x in (-side, -middle, middle, side)),
        *((x, y) for y in _between(low, top) for x in (-side, side)),
        *((x, top) for x in (-side, *_between(-side, side), side)),
    )
