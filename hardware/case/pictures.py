"""The pictures of the case and of its assembly, for docs/makers/build.md."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

from handbell.base.files import whole_file

from . import lights, lit
from .build import Case
from .labels import labelled
from .outlines import eyes, slots, tie_slots, wall_screws
from .remote import RemoteCase
from .render import Piece, View
from .shapes import rounded

FIGURES = "figures"  # the text field that says what a picture was made of
Colour = tuple[float, float, float]
Point3 = tuple[float, float, float]

SHELL: Colour = (0.80, 0.82, 0.85)
BACK: Colour = (0.66, 0.70, 0.75)
COLOURS: dict[str, Colour] = {
    "shell": SHELL,
    "back": BACK,
    "diffuser": (0.98, 0.98, 0.94),
    "lamp bar": (0.92, 0.93, 0.95),
    "button": (0.90, 0.62, 0.0),
    "display": (0.14, 0.17, 0.22),
    "receivers": (0.10, 0.10, 0.12),
    "driver": (0.62, 0.36, 0.16),
    "head": SHELL,
    "lid": BACK,
    "window": (0.25, 0.30, 0.37),
    "lamps": (0.95, 0.90, 0.35),
    "carrier": (0.0, 0.56, 0.42),
    "cell": (0.34, 0.66, 0.90),
    "charger": (0.0, 0.42, 0.66),
    "clock": (0.0, 0.42, 0.66),
    "speaker": (0.34, 0.34, 0.37),
    "switch": (0.25, 0.25, 0.27),
    "jack": (0.72, 0.72, 0.74),
    "screws": (0.50, 0.50, 0.53),
    "ridge": (0.84, 0.37, 0.0),
    "emitters": (0.42, 0.29, 0.55),
}


def _pieces(
    case: Case | RemoteCase, *names: str, away: dict[str, Point3] | None = None
) -> list[Piece]:
    solids = case.printed | case.bought
    chosen = names or tuple(solids)
    far = away or {}
    return [Piece(solids[n], COLOURS[n], far.get(n, (0.0, 0.0, 0.0))) for n in chosen]


def front(case: Case) -> Any:
    """Return the box as a person sees it."""
    place = case.place
    return labelled(
        View(_pieces(case), -30, 17, 640),
        [
            ("eye for a hook", (0, eyes(case.part, place)[0][1] + 9, 42)),
            ("light strip behind\nits diffuser", (*place.lamps, 0)),
            ("display, 3 mm\nbehind the face", (-24.0, place.view[1], 3)),
            ("here it hears, and\nat both sides", (*place.receiver, 1)),
            ("here it tells, and\nat both sides", (*place.emitter, 1)),
            ("button for a fist\nor a foot", (*place.button, -30)),
            ("lip: drops fall\noff here", (-50, -2, 2)),
            ("slot for a strap", (*slots(case.part, place)[1], case.place.deep)),
        ],
    )


def working(case: Case) -> Any:
    """Return a box at work: its screen and lights lit."""
    glows = {"window": lit.screen(case), "diffuser": lit.lights(case)}
    solids = case.printed | case.bought
    pieces = [Piece(solids[n], COLOURS[n], glow=glows.get(n)) for n in solids]
    return View(pieces, -24, 14, 640).image()


def rear(case: Case) -> Any:
    """Return the back with all that it is mounted by, and the doors in the bottom."""
    part, place = case.part, case.place
    outside = place.deep + case.own.walls.back_mm
    hook, left, _ = eyes(part, place)
    return labelled(
        View(_pieces(case), 152, -27, 640),
        [
            ("eye for a hook", (hook[0], hook[1], outside)),
            ("eye for the\nsecond line", (left[0], left[1], outside)),
            ("slot for a strap", (*slots(part, place)[1], outside)),
            ("hole for a screw\ninto a wall", (*wall_screws(part, place)[0], outside)),
            ("cable tie", (*tie_slots(part, place)[1], outside)),
            ("USB", (place.usb[0], 0, place.usb[1])),
            ("switch", (place.switch[0], -2, place.switch[1])),
            ("line output", (place.jack[0], 0, place.jack[1])),
            ("sound, and air", (place.speaker[0], 0, place.speaker[1])),
        ],
    )


def section(case: Case) -> Any:
    """Return the box cut in the middle, seen from its right side (as seen from the front)."""
    place, walls = case.place, case.own.walls
    pieces = [
        Piece(one.solid.trim_by_plane((1, 0, 0), 0.0), one.colour) for one in _pieces(case)
    ]  # fmt: skip
    y = place.columns[0][1]
    return labelled(
        View(pieces, 90, 0, 560),
        [
            ("eye through\nshell and back", (0, eyes(case.part, place)[0][1] + 9, place.deep)),
            ("lamps, and\ntheir bar", (0, place.lamps[1], place.lamp_bar_z)),
            ("window, recessed", (0, place.view[1] + 5, walls.recess_mm)),
            ("cell and its strap", (0, place.cell[1], place.deep - 8)),
            ("column: takes a\nfoot to the back", (case.place.columns[0][0], y, 40)),
            ("seal", (0, 0.5, place.deep)),
            ("line output", (0, 10, place.jack[1])),
            ("switch", (0, 12, place.switch[1])),
            ("button", (0, place.button[1], -25)),
        ],
    )


def apart(case: Case) -> Any:
    """Return everything drawn out along the line on which it is put together."""
    away: dict[str, Point3] = {
        "button": (0, 0, -110),
        "window": (0, 0, 78),
        "diffuser": (0, 0, 78),
        "display": (0, 0, 118),
        "receivers": (0, 0, 118),
        "emitters": (0, 0, 118),
        "driver": (0, 0, 132),
        "lamps": (0, 0, 165),
        "lamp bar": (0, 0, 190),
        "speaker": (0, 0, 95),
        "switch": (0, -70, 0),
        "jack": (0, -70, 0),
        "carrier": (0, 0, 150),
        "charger": (0, 0, 100),
        "cell": (0, 0, 245),
        "clock": (0, 0, 245),
        "back": (0, 0, 300),
        "screws": (0, 0, 345),
    }
    solids = case.printed | case.bought

    def middle(name: str) -> Point3:
        box = solids[name].bounding_box()
        far = away.get(name, (0, 0, 0))
        x, y, z = ((box[axis] + box[axis + 3]) / 2 + far[axis] for axis in range(3))
        return x, y, z

    names = [
        "window",
        "diffuser",
        "lamps",
        "lamp bar",
        "speaker",
        "switch",
        "jack",
        "charger",
    ]
    trade = {"speaker": "loudspeaker", "jack": "line output", "driver": "emitters' board"}
    names += ["driver", "carrier", "cell", "clock", "back"]
    shown = [(trade.get(name, name), middle(name)) for name in names]
    (x, y), outside = case.place.bosses[0], case.place.deep + case.own.walls.back_mm
    (x_seat, y_seat, z_seat), _, _ = lights.seats(case.part, case.place)[2]
    shown += [
        ("button", (*case.place.button, -130.0)),
        ("display", (20.0, case.place.display[1] + 14, 142.0)),
        ("emitter", (x_seat, y_seat, z_seat + 120)),
        ("screws", (x, y, outside + 340)),
        ("shell", (-case.place.half_wide, case.place.high * 0.3, 30.0)),
    ]
    return labelled(View(_pieces(case, away=away), 118, 22, 900), shown)


def fitted(case: Case) -> Any:
    """Return the shell on its face with all that is screwed and glued into it."""
    names = [
        n for n in (*case.printed, *case.bought) if n not in ("back", "cell", "clock", "screws")
    ]
    place = case.place
    return labelled(
        View(_pieces(case, *names), 171, 9, 640),
        [
            ("insert, 9 times", (*place.bosses[7], place.deep)),
            ("lamp bar", (-30, place.lamps[1], place.lamp_bar_z + 2)),
            ("display", (-30, place.display[1] + 12, 20)),
            ("emitter, behind it\nits lens's hole", (*place.emitter, 6)),
            ("bay for a receiver\nand an emitter", lights.seats(case.part, place)[2][1]),
            ("emitters' board", (place.driver[0] + 11, *place.driver[1:])),
            ("charger, on tape", (*place.charger, 12)),
            ("loudspeaker", (place.speaker[0], 23, place.speaker[1])),
            ("carrier in its rails,\nUSB down", (place.carrier_x + 1, 60, 55)),
            ("column", (*place.columns[3], place.deep)),
            ("button", (*place.button, case.part.button.below)),
            ("rail's stay", (place.inside - 6, place.carrier_y[1] + 1.6, place.deep - 14)),
        ],
    )


def bay(case: Case) -> Any:
    """Return the back's inside with cell and clock part."""
    place = case.place
    return labelled(
        View(_pieces(case, "back", "cell", "clock"), 20, 25, 640),
        [
            ("loop for the\ncell's strap", (0, place.cell[1] + 15, place.deep - 12)),
            ("cell in its holder", (20, place.cell[1], place.deep - 21)),
            ("clock part,\nif fitted", (*place.clock, place.deep - 14)),
            ("groove for the\nseal's cord", (40, 0.5, place.deep)),
        ],
    )


def printing(case: Case) -> Any:
    """Return the printed parts as they lie on the bed, on two beds."""
    wide, long, _ = case.own.print.bed_mm
    lie = {"shell": (-130, 20), "diffuser": (-130, -80), "back": (130, 15), "lamp bar": (130, -90)}
    pieces, names = [], []
    for x in (-130, 130):
        bed = rounded(wide, long, 6).translate((x, 0)).extrude(3).translate((0, 0, -3))
        pieces.append(Piece(bed.rotate((-90, 0, 0)), (0.45, 0.48, 0.52)))
    for name, (x, y) in lie.items():
        solid = case.on_bed(name).translate((x, y, 0))
        box = solid.bounding_box()
        # The bed lies level: its z is up in the picture.
        pieces.append(Piece(solid.rotate((-90, 0, 0)), COLOURS[name]))
        names.append((name, (box[0] + 16.0 if x < 0 else box[3] - 16.0, 3.0, -y + 6.0)))
    return labelled(View(pieces, 180, 50, 820), names)


def mounting(case: Case) -> Any:
    """Return the three ways to mount a box, side by side."""
    from .mounts import hung, screwed, strapped

    views = [View(_pieces(case) + extra(case), *way, 380) for extra, way in (
        (hung, (-25, 12)), (strapped, (-35, 25)), (screwed, (-28, 15)),
    )]  # fmt: skip
    return _beside([view.image() for view in views])


def remote_front(case: RemoteCase) -> Any:
    """Return the remote as whoever leads the class sees it."""
    place = case.place
    names = zip(
        ("pause", "go on", "next block", "stop,\nbehind a ridge"), place.buttons, strict=True
    )
    return labelled(
        View(_pieces(case), -12, 32, 700),
        [
            *((words, (x, y - 6, -8.0)) for words, (x, y) in names),
            (
                "one to four dimples\ntell the buttons",
                (place.buttons[1][0] + 2.5, place.buttons[1][1] + 21, 0),
            ),
            ("head: sixteen emitters\nall round", (0, place.high + 20, 0)),
            ("display", (*place.view, 3)),
        ],
    )


def remote_apart(case: RemoteCase) -> Any:
    """Return the remote drawn apart, seen from behind."""
    away: dict[str, Point3] = {
        "carrier": (0, 0, 90),
        "cell": (0, 0, 90),
        "clock": (0, 0, 90),
        "back": (0, 0, 150),
        "screws": (0, 0, 185),
        "lid": (0, 30, 0),
    }
    place = case.place
    return labelled(
        View(_pieces(case, away=away), 140, 22, 800),
        [
            ("cell in its holder", (*place.cell, place.deep + 75)),
            ("carrier, its USB\nto the side", (*place.carrier, place.deep + 60)),
            ("slot for\na lanyard", (0, -8, place.deep + 154)),
            ("head, its emitters\nglued in", (0, place.high + 20, 55)),
            ("lid", (0, place.high + 78, 30)),
            ("emitters' board", (*place.driver[:2], 34)),
            ("back", (0, 10, place.deep + 152)),
            ("6 screws", (*place.bosses[0], place.deep + 190)),
        ],
    )


def _beside(images: list[Any]) -> Any:
    from PIL import Image

    high = max(image.height for image in images)
    page = Image.new("RGB", (sum(image.width for image in images) + 40, high), "white")
    x = 0
    for image in images:
        page.paste(image, (x, high - image.height))
        x += image.width + 20
    return page


PICTURES: dict[str, Callable[[Case], Any]] = {
    "box": working,
    "case-front": front,
    "case-back": rear,
    "case-section": section,
    "case-parts": apart,
    "build-print": printing,
    "build-shell": fitted,
    "build-cell": bay,
    "build-mount": mounting,
}
REMOTE_PICTURES: dict[str, Callable[[RemoteCase], Any]] = {
    "remote": remote_front,
    "remote-parts": remote_apart,
}


def figures(case: Case | RemoteCase) -> dict[str, list[float]]:
    """Return volume, area and extent of every solid: what a picture was made of."""
    found = {}
    for name, solid in (case.printed | case.bought).items():
        box = [round(float(side), 1) for side in solid.bounding_box()]
        found[name] = [round(solid.volume()), round(solid.surface_area()), *box]
    return found


def write(case: Case, folder: Path) -> list[Path]:
    """Draw every picture of a box into the folder; returns the files."""
    return _write({name: partial(draw, case) for name, draw in PICTURES.items()}, case, folder)


def write_remote(case: RemoteCase, folder: Path) -> list[Path]:
    """Draw every picture of a remote into the folder; returns the files."""
    drawn = {name: partial(draw, case) for name, draw in REMOTE_PICTURES.items()}
    return _write(drawn, case, folder)


def _write(
    drawn: Mapping[str, Callable[[], Any]], case: Case | RemoteCase, folder: Path
) -> list[Path]:
    """Draw pictures into the folder, the case's figures in their text field."""
    import json

    from PIL.PngImagePlugin import PngInfo

    folder.mkdir(parents=True, exist_ok=True)
    note = PngInfo()
    note.add_text(FIGURES, json.dumps(figures(case)))
    files = []
    for name, draw in drawn.items():
        path = folder / f"{name}.png"
        image = draw().convert("RGB").quantize(256, kmeans=2, dither=0)
        with whole_file(path) as file:
            image.save(file, "png", optimize=True, pnginfo=note)
        files.append(path)
    return files
