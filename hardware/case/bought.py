"""The bought parts as plain solids at their places: for the fit and for the pictures."""

from __future__ import annotations

from types import SimpleNamespace

from manifold3d import Manifold

from . import lights
from .outlines import window_outline
from .places import Places
from .remote_places import RemotePlaces
from .shapes import block, cone, post, prism, union


def _along_y(x: float, z: float, low: float, high: float, wide: float) -> Manifold:
    """Return a cylinder along y."""
    return post(0, 0, 0, high - low, wide).rotate((-90, 0, 0)).translate((x, low, z))


def _box(x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> Manifold:
    size = (x[1] - x[0], y[1] - y[0], z[1] - z[0])
    return Manifold.cube(size).translate((x[0], y[0], z[0]))


def _box_about(middle: tuple[float, float, float], size: tuple[float, float, float]) -> Manifold:
    return Manifold.cube(size, True).translate(middle)


def build(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> dict[str, Manifold]:
    """Return the solids by name; what is soldered or plugged on is within each one's block."""
    return {
        "button": _button(part, place, own),
        "display": display(part, place, own),
        "window": window(part, place, own),
        **lights.bought(part, place),
        "driver": _box_about(
            place.driver, (part.driver.deep, part.driver.pcb[1], part.driver.pcb[0])
        ),
        "lamps": _lamps(part, place),
        "carrier": _carrier(part, place),
        "cell": cell(part, place),
        "charger": lying(place.charger, part.charger, own.walls.face_mm),
        "clock": lying(place.clock, part.clock, place.deep - part.clock.deep),
        "speaker": _speaker(part, place, own),
        "switch": _switch(part, place, own),
        "jack": _along_y(*place.jack, -2, own.walls.side_mm, part.jack.hole - 0.3)
        + _along_y(
            *place.jack, own.walls.side_mm, own.walls.side_mm + part.jack.below, part.jack.body
        ),
        "screws": screws(part, place, own, own.walls.back_mm),
    }


def window(part: SimpleNamespace, place: Places | RemotePlaces, own: SimpleNamespace) -> Manifold:
    """Return the clear sheet before the display."""
    low = own.walls.recess_mm
    return prism(window_outline(part, place, own), low, low + own.walls.window_mm)


def cell(part: SimpleNamespace, place: Places | RemotePlaces) -> Manifold:
    """Return the cell in its holder, on the back."""
    long, wide = part.cell.box
    return block(*place.cell, place.deep - part.cell.deep, long, wide, part.cell.deep, 3)


def lying(middle: tuple[float, float], part: SimpleNamespace, low: float) -> Manifold:
    """Return a small board that lies upright: its long side is along y."""
    return block(*middle, low, part.pcb[1], part.pcb[0], part.deep)


def _button(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> Manifold:
    x, y = place.button
    face = own.walls.face_mm
    size = part.button
    collar = 4.0
    dome = Manifold.batch_hull(
        [
            post(x, y, -size.above + rise, -size.above + rise + 0.01, wide * size.dome)
            for rise, wide in ((0, 0.45), (2, 0.7), (6, 0.88), (12, 0.95))
        ]
        + [post(x, y, -collar - 0.01, -collar, 0.95 * size.dome)]
    )
    return union(
        [
            dome,
            cone(x, y, -collar, 0, size.collar - 4, size.collar),
            post(x, y, -0.01, size.below - 18, size.hole),
            post(x, y, face, face + 9, size.nut),
            block(x, y, size.below - 24, 20, 28, 24, 2),
        ]
    )


def display(part: SimpleNamespace, place: Places | RemotePlaces, own: SimpleNamespace) -> Manifold:
    """Return the display's board, glass and plug."""
    size = part.display
    front = own.walls.face_mm + own.gaps.part_mm
    board = front + own.gaps.glass_mm
    x, y = place.display
    glass = block(x, place.view[1], front, size.glass[0], size.glass[1], own.gaps.glass_mm)
    behind = size.deep + size.plug_clear - own.gaps.glass_mm - size.thick
    rear = block(x, y, board + size.thick, size.pcb[0] * 0.7, size.pcb[1] * 0.7, behind)
    return union([glass, block(x, y, board, size.pcb[0], size.pcb[1], size.thick), rear])


def _lamps(part: SimpleNamespace, place: Places) -> Manifold:
    x, y = place.lamps
    size = part.lamps
    back = place.lamp_bar_z
    solids = [block(x, y, back - 0.5, size.pcb[0], size.pcb[1], 0.5)]
    count = round(size.pcb[0] / size.pitch)
    for n in range(count):
        at = x + (n - (count - 1) / 2) * size.pitch
        solids.append(block(at, y, back - size.deep, size.lamp[0], size.lamp[1], size.deep - 0.4))
    return union(solids)


def _carrier(part: SimpleNamespace, place: Places) -> Manifold:
    """Return the carrier on edge, the board on its sockets at its lower end, wires and parts."""
    x, (low, high), z = place.carrier_x, place.carrier_y, place.carrier_z
    size, board = part.carrier, part.board
    half = size.pcb[1] / 2
    inner = x + 2 + size.thick - size.deep
    pico = x - board.deep + 4
    usb_x, usb_z = place.usb
    long = board.pcb[0]
    return union(
        [
            _box((x, x + size.thick), (low, high), (z - half, z + half)),
            _box((x + size.thick, x + size.thick + 2), (low + 1, low + long - 1), (z - 10, z + 10)),
            _box((x + size.thick, x + size.thick + 2), (low + 4, high - 4), (z - 22, z + 22)),
            _box((pico - board.thick, pico), (low, low + long), (z - 10.5, z + 10.5)),
            _box((pico, x), (low, low + long), (z - 10.2, z - 7.6)),
            _box((pico, x), (low, low + long), (z + 7.6, z + 10.2)),
            _box(
                (usb_x - 1.5, usb_x + 2), (low - board.usb_out, low + 5), (usb_z - 3.8, usb_z + 3.8)
            ),
            _box((inner, x), (low + long + 2, high - 4), (z - half + 6, z + half - 6)),
        ]
    )


def _speaker(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> Manifold:
    x, z = place.speaker
    wall, size = own.walls.side_mm, part.speaker
    return _along_y(x, z, wall, wall + 6, size.round) + _along_y(
        x, z, wall, wall + size.deep, size.magnet
    )


def _switch(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> Manifold:
    x, z = place.switch
    (long, wide), (cut_long, cut_wide) = part.switch.bezel, part.switch.cut
    top = own.walls.side_mm + part.switch.below
    flange = _box((x - wide / 2, x + wide / 2), (-2, 0), (z - long / 2, z + long / 2))
    gap = 0.15
    half_wide, half_long = cut_wide / 2 - gap, cut_long / 2 - gap
    body = _box((x - half_wide, x + half_wide), (-0.1, top), (z - half_long, z + half_long))
    return flange + body


def screws(
    part: SimpleNamespace, place: Places | RemotePlaces, own: SimpleNamespace, thick: float
) -> Manifold:
    """Return the back's screws; M3 x 12, their tips in the inserts' holes."""
    outside = place.deep + thick
    head, screw = own.fixings.head_mm, part.fasteners.screw
    solids = []
    for x, y in place.bosses:
        solids.append(post(x, y, outside - 12, outside, screw))
        solids.append(cone(x, y, outside - (head - screw) / 2, outside, screw, head - 0.2))
    return union(solids)
