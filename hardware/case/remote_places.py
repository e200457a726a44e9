"""Where everything lies in the remote's case: it follows from the sizes, from the bottom up."""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace

from .places import Point

PITCH_MM = 39.0  # from button to button
STOP_MM = 45.0  # to the last one, stop, which stands apart behind a ridge
STRIP_MM = 10.0  # along the upper edge, for screws


@dataclass(frozen=True)
class RemotePlaces:
    """Lengths in mm, in the case's frame. Points are the middles of what they are named after."""

    inside: float  # to the inside of the wall
    half_wide: float
    high: float
    deep: float  # from the face to the inside of the back
    buttons: tuple[Point, ...]  # from the left as seen from the front
    ridge: Point
    display: Point
    view: Point
    cell: Point
    clock: Point
    carrier: Point
    solder: float  # the carrier's other side
    usb: Point  # y and z of the socket
    charger: Point
    switch: Point  # y and z
    head: float  # z of the middle of the emitters' head
    driver: tuple[float, float, float]  # the middle of the emitters' board, and z of its front
    bosses: tuple[Point, ...]


def places(part: SimpleNamespace, own: SimpleNamespace) -> RemotePlaces:
    """Return where all lies: buttons below, over them display and cell beside the carrier."""
    wall, face, apart = own.walls.side_mm, own.walls.face_mm, own.gaps.apart_mm
    behind = face + own.gaps.part_mm + part.display.deep + part.display.plug_clear
    deep = max(behind + apart + part.cell.deep, face + part.button.below + 2)
    cell, carrier, radius = part.cell.box[0], part.carrier.pcb[0], part.button.nut / 2
    bay = 3.5  # a cell's corner wall, and the back's rib
    inside = max((cell + carrier + apart) / 2 + bay, (2 * PITCH_MM + STOP_MM) / 2 + radius + apart)
    low = wall + radius + apart
    start = (2 * PITCH_MM + STOP_MM) / 2
    across = [start, start - PITCH_MM, start - 2 * PITCH_MM, -start]
    upper = low + radius + 7.5  # dimples between
    top = upper + part.carrier.pcb[1] + STRIP_MM
    middle = upper + part.carrier.pcb[1] / 2
    left = inside - bay - cell / 2
    solder = deep - 3
    display = (left, middle - 2)
    return RemotePlaces(
        inside=inside,
        half_wide=inside + wall,
        high=top + wall,
        deep=deep,
        buttons=tuple((x, low) for x in across),
        ridge=((across[2] + across[3]) / 2, low),
        display=display,
        view=(display[0], display[1] + part.display.lit_shift[1]),
        cell=(left, upper + part.carrier.pcb[1] - part.cell.box[1] / 2 - 2),
        clock=(left + 0.6, upper + part.clock.pcb[1] / 2),
        carrier=(-inside + apart + carrier / 2, middle),
        solder=solder,
        usb=(middle, solder - part.carrier.thick - part.board.deep + 1.5),
        charger=(-inside + apart + carrier / 2, middle),
        switch=(upper + part.switch.bezel[1], face + 1 + part.switch.bezel[0] / 2),
        head=(deep + own.walls.back_mm - 1) / 2,
        driver=(-inside + apart + carrier - part.driver.pcb[0] / 2 - 1, middle + 3, face + 5.7),
        bosses=_bosses(inside, low, upper, top, across, own),
    )


def _bosses(
    inside: float, low: float, upper: float, top: float, across: list[float], own: SimpleNamespace
) -> tuple[Point, ...]:
    """Return the back's six screws: between the buttons, at the sides, in the upper strip."""
    half, wall = own.fixings.boss_mm / 2 - 0.5, own.walls.side_mm
    side, between = inside - half, ((across[0] + across[1]) / 2, (across[2] + across[3]) / 2)
    return (
        *((x, wall + half) for x in between),
        *((x, upper - half - 1.5) for x in (-side, side)),
        *((x, top - half) for x in (-inside + 20, inside - 20)),
    )
