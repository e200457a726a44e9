"""The remote's case: a box for two hands or a lanyard; face with buttons and display, and a back.

Frame and rules are the box's: x to the right as seen from behind, y up, z from the face inwards.
"""

from __future__ import annotations

import math
from types import SimpleNamespace

from manifold3d import CrossSection, Manifold

from . import back as box_back
from . import bought, head, shell
from .build import on_bed
from .places import Point
from .remote_places import RemotePlaces, places
from .shapes import (
    block,
    cone,
    corners,
    drop,
    edged,
    flared,
    grown,
    post,
    prism,
    rounded,
    through_wall,
    union,
)
from .sizes import choices, part_sizes

RIDGE_MM = (2.4, 24.0, 7.0)  # thick, long, over the face
BACK_MM = 4.0
LANYARD_MM = (20.0, 4.0)


class RemoteCase:
    """The remote's case: the sizes it follows from, its printed and its bought parts."""

    def __init__(self, part: SimpleNamespace, own: SimpleNamespace) -> None:
        """Compute every solid from the parts' sizes and our own choices."""
        self.part, self.own = part, own
        self.place = places(part, own)
        self.printed: dict[str, Manifold] = {
            "shell": _shell(part, self.place, own),
            "back": _back(part, self.place, own),
            "ridge": _ridge(self.place, own),
        }
        for name, solid in head.printed(part, own).items():
            self.printed[name] = head.placed(solid, self.place.high, self.place.head)
        self.bought: dict[str, Manifold] = _bought(part, self.place, own)

    @classmethod
    def of(cls) -> RemoteCase:
        """Return the case of box.toml and case.toml; raises HandbellError for a missing size."""
        return cls(part_sizes(button="button_small", driver="driver_large"), choices())

    def on_bed(self, name: str) -> Manifold:
        """Return a printed part as it lies on the printer's bed; back and ridge are turned over."""
        if name in ("head", "lid"):  # the lid lies on its outside
            turn = 90 if name == "head" else -90
            return on_bed(self.printed[name].rotate((turn, 0, 0)), turned=False)
        return on_bed(self.printed[name], turned=name != "shell")

    def plastic_g(self) -> float:
        """Return the mass of what is printed, in g, by the density and fill of case.toml."""
        volume = sum(solid.volume() for solid in self.printed.values()) / 1000
        return float(volume * self.own.print.density_g_cm3 * self.own.print.filled)


def _walls(place: RemotePlaces, own: SimpleNamespace, by: float = 0.0) -> CrossSection:
    radius = own.walls.corner_mm
    plan = rounded(2 * (place.half_wide + by), place.high + 2 * by, radius + by)
    return plan.translate((0, place.high / 2))


def _shell(part: SimpleNamespace, place: RemotePlaces, own: SimpleNamespace) -> Manifold:
    face, deep = own.walls.face_mm, place.deep
    body = edged(_walls(place, own), own.walls.edge_mm, deep)
    body -= prism(_walls(place, own, -own.walls.side_mm), face, deep + 1)
    posts = shell.display_posts(part, place, own)
    posts += [(x, y, place.driver[2]) for x, y in driver_posts(part, place)]
    hung = [_wall_point(x, y, place, own) for x, y in place.bosses]
    solids = [body, shell.charger_bay(part, place, own)]
    solids += shell.standing(part, place, own, posts, hung)
    cuts = [_openings(part, place, own), *_head_screws(place, own)]
    cuts += shell.bored(part, place, own, posts, BACK_MM)
    return union(solids) - union(cuts)


def _wall_point(x: float, y: float, place: RemotePlaces, own: SimpleNamespace) -> Point:
    """Return the point within the wall that a boss hangs on."""
    reach = own.fixings.boss_mm / 2 + own.walls.side_mm / 2
    if place.inside - abs(x) < own.fixings.boss_mm:
        return x + math.copysign(reach, x), y
    return x, y + math.copysign(reach, y - place.high / 2)


def _openings(part: SimpleNamespace, place: RemotePlaces, own: SimpleNamespace) -> Manifold:
    """Return what is cut: display, buttons, their dimples, the ridge's slot, USB and switch."""
    face, slide = own.walls.face_mm, own.gaps.slide_mm
    cuts = shell.window_openings(part, place, own)
    for count, (x, y) in enumerate(place.buttons, 1):
        cuts.append(post(x, y, -1, face + 1, part.button.hole + slide))
        edge = y + part.button.collar / 2 + 4.5
        cuts += [
            cone(x + 5 * (n - (count - 1) / 2), edge, -0.01, 1.6, 3.2, 0.2) for n in range(count)
        ]
    thick, long, _ = RIDGE_MM
    cuts.append(block(*place.ridge, -1, thick + 2 * slide, long + 2 * slide, face + 2))
    wide, high = part.board.usb_plug
    usb = CrossSection.square((wide, high), True)
    # Its roof, so that a printer has less to bridge.
    foot, tip = wide / 2, wide / 2 - 2
    usb += CrossSection([[(-foot, 0), (foot, 0), (tip, 2), (-tip, 2)]]).translate((0, high / 2))
    long, wide = part.switch.cut
    cuts.append(_through_side(usb, *place.usb, place))
    cuts.append(_through_side(CrossSection.square((wide, long), True), *place.switch, place))
    return union(cuts)


def _through_side(shape: CrossSection, y: float, z: float, place: RemotePlaces) -> Manifold:
    """Return a cutter through the wall at low x: the shape's x becomes y, its y becomes z."""
    solid = shape.extrude(6)
    turned = solid.transform(((0, 0, 1, 0), (1, 0, 0, 0), (0, 1, 0, 0)))
    return turned.translate((-place.half_wide - 1, y, z))


def _head_screws(place: RemotePlaces, own: SimpleNamespace) -> list[Manifold]:
    """Return what is cut from the upper wall: for the head's wires and its two screws."""
    holes = [(0.0, head.WIRES_MM)] + [(side * head.SCREWS_MM, 2.8) for side in (-1, 1)]
    low = place.high - own.walls.side_mm - 0.5
    return [through_wall(drop(wide), x, place.head, low, place.high + 1) for x, wide in holes]


def driver_posts(part: SimpleNamespace, place: RemotePlaces) -> list[Point]:
    """Return the two posts on the face that the driver's board is screwed to."""
    x, y, _ = place.driver
    aside = part.driver.pcb[0] / 2 - 4
    return [(x - aside, y), (x + aside, y)]


def _back(part: SimpleNamespace, place: RemotePlaces, own: SimpleNamespace) -> Manifold:
    """Return the back with cell, clock and carrier on it, and the lug that a lanyard passes."""
    low, slide = place.deep, own.gaps.slide_mm
    inner = _walls(place, own, -own.walls.side_mm - slide)
    rib = prism(inner - grown(inner, -1.6), low - 2, low + 0.5)
    for x, y in place.bosses:
        clear = own.fixings.boss_mm + 2
        rib -= block(x, y, low - 3, clear, clear, 3)
    plan, (wide, thick) = _walls(place, own), LANYARD_MM
    lug = rounded(wide + 16, 40, 8).translate((0, 20 - thick - 10))
    plate = flared(plan, plan, low, low + 1, low + BACK_MM) + prism(lug, low, low + BACK_MM)
    solids = [plate, rib, box_back.cell_bay(part, place, own)]
    long, high = (size + 2 * own.gaps.part_mm for size in part.clock.pcb)
    solids.append(corners(*place.clock, low - 4, long, high, 4.5, 2.0))
    x, y = place.carrier
    reach, across = part.carrier.holes
    ends = [(x + side * reach / 2, y + across / 2) for side in (-1, 1)]
    solids += [post(*end, place.solder, low + 0.5, 7.0) for end in ends]
    cuts = [post(*end, place.solder - 1, low + 2.5, own.fixings.small_screw_mm) for end in ends]
    head, screw = own.fixings.head_mm, part.fasteners.screw + 0.4
    for x, y in place.bosses:
        cuts.append(post(x, y, low - 1, low + BACK_MM + 1, screw))
        high = low + BACK_MM
        cuts.append(cone(x, y, high - (head - screw) / 2, high + 0.01, screw, head + 0.02))
    cuts.append(block(0, -thick / 2 - 2, low - 1, wide, thick, 10, 1.5))
    return union(solids) - union(cuts)


def _ridge(place: RemotePlaces, own: SimpleNamespace) -> Manifold:
    """Return the ridge before the stop button, pushed through the face from inside."""
    thick, long, over = RIDGE_MM
    face = own.walls.face_mm
    bar = block(*place.ridge, -over, thick, long, face + over + 2, 1.1)
    return bar + block(*place.ridge, face, thick + 5, long + 4, 2, 1.1)


def _bought(
    part: SimpleNamespace, place: RemotePlaces, own: SimpleNamespace
) -> dict[str, Manifold]:
    face, board = own.walls.face_mm, part.board
    long, broad = board.pcb
    x, y = place.carrier
    wide, high = part.carrier.pcb
    top = place.solder - part.carrier.thick  # the side that carries the parts
    socket = top - board.deep + 4
    edge = x - wide / 2
    usb_y, usb_z = place.usb
    carrier = union(
        [
            block(x, y, top, wide, high, part.carrier.thick),
            block(x + 25, y, top - 12, wide - 58, high - 12, 12),
            block(edge + long / 2, y, socket - board.thick, long, broad, board.thick),
            block(edge + long / 2, y - 8.9, socket, long, 2.6, top - socket),
            block(edge + long / 2, y + 8.9, socket, long, 2.6, top - socket),
            block(edge - board.usb_out + 3, usb_y, usb_z - 2, 6, 7.6, 4),
        ]
    )
    carrier -= union(
        [post(x + side * part.carrier.holes[0] / 2, y, 0, 99, 3.2) for side in (-1, 1)]
    )
    switch_y, switch_z = place.switch
    tall, thick = (size - 0.3 for size in part.switch.cut)
    body = part.switch.below + own.walls.side_mm
    switch = block(
        -place.half_wide + body / 2, switch_y, switch_z - tall / 2, body, thick, tall
    ) + block(
        -place.half_wide - 1, switch_y, switch_z - part.switch.bezel[0] / 2, 2,
        part.switch.bezel[1], part.switch.bezel[0],
    )  # fmt: skip
    clock_wide, clock_high = part.clock.pcb
    clock_low = place.deep - part.clock.deep
    return {
        "button": union([_button(part, at, face) for at in place.buttons]),
        "display": bought.display(part, place, own),
        "window": bought.window(part, place, own),
        "carrier": carrier,
        "cell": bought.cell(part, place),
        "charger": bought.lying(place.charger, part.charger, face),
        "clock": block(*place.clock, clock_low, clock_wide, clock_high, part.clock.deep),
        "switch": switch,
        "driver": _driver(part, place),
        "emitters": head.placed(head.emitters(part), place.high, place.head),
        "screws": bought.screws(part, place, own, BACK_MM),
    }


def _driver(part: SimpleNamespace, place: RemotePlaces) -> Manifold:
    (x, y, low), (wide, high) = place.driver, part.driver.pcb
    board = block(x, y, low, wide, high, part.driver.deep)
    return board - union([post(*at, 0, 99, 2.6) for at in driver_posts(part, place)])


def _button(part: SimpleNamespace, at: Point, face: float) -> Manifold:
    size = part.button
    return union(
        [
            post(*at, -4, 0, size.collar),
            cone(*at, -size.above + 4, -4, size.hole - 10, size.hole - 6),
            post(*at, -0.01, face + 12, size.hole),
            post(*at, face, face + 8, size.nut),
            block(*at, face + 10, 14, 20, size.below - face - 10, 2),
        ]
    )
