"""Does the case hold: stresses by hand formulas, against the strengths in case.toml."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from .build import Case
from .outlines import slots


@dataclass(frozen=True)
class Load:
    """A stress (or a sag) and what it may be at most, safety included; with its unit."""

    what: str
    value: float
    most: float
    unit: str


def loads(case: Case) -> list[Load]:
    """Return every load that is reckoned."""
    return [*_foot(case), *_hanging(case), _sag(case)]


def _foot(case: Case) -> list[Load]:
    """A foot on the button: its collar, the face, the columns, the floor."""
    own, part = case.own, case.part
    force, count, wide = own.load.foot_n, own.load.columns, own.load.column_mm
    area = math.pi * wide**2 / 4
    bending = math.pi * wide**4 / 64
    long = case.place.deep - own.walls.face_mm
    # Euler, foot clamped by the face, far end free to move: a half-wave of twice the length.
    buckles = math.pi**2 * own.load.modulus_mpa * bending / (2 * long) ** 2
    # The face between two columns, as a beam on two supports under an even load: its span is the
    # clear one and one thickness, its width is the collar's beyond the nut.
    x, y = (case.place.columns[n] for n in (0, 1))
    span = math.dist(x, y) - wide + own.walls.face_mm
    width = (part.button.collar - part.button.nut) / 2
    stress = (force / count) * span / 8 / (width * own.walls.face_mm**2 / 6)
    safety = own.load.safety
    return [
        Load("columns, pressed", force / count / area, own.load.across_mpa / safety, "MPa"),
        Load("columns, buckling", force / count, buckles / safety, "N"),
        Load("face between columns", stress, own.load.along_mpa / safety, "MPa"),
    ]


def _hanging(case: Case) -> list[Load]:
    """A pull on one eye, torn out of the back alone; and on one slot's outer bar by a strap."""
    own, part = case.own, case.part
    pull, thick = own.load.pull_n, own.walls.back_mm
    shear = pull / (2 * thick * 8)  # 8: from an eye to the lug's edge
    wide, strap = part.mounting.strap
    outer = max(case.printed["back"].bounding_box()[3:4])
    bar = outer - slots(part, case.place)[1][0] - (strap + 1) / 2
    stress = pull * (wide + 2) / 12 / (thick * bar**2 / 6)  # clamped at both ends, even load
    along = own.load.along_mpa / own.load.safety
    return [
        # Shear strength is about 0.6 of the tensile one (common practice).
        Load("eye, torn out of the back", shear, 0.6 * along, "MPa"),
        Load("bar of a strap's slot", stress, along, "MPa"),
    ]


def _sag(case: Case) -> Load:
    """How far the back bows between two screws under the seal's cord; half its squeeze is left."""
    own = case.own
    bosses = case.place.bosses
    # The screws stand in rows along the four walls.
    lows, highs = min(y for _, y in bosses), max(y for _, y in bosses)
    left, right = min(x for x, _ in bosses), max(x for x, _ in bosses)
    rows = [sorted(x for x, y in bosses if y == row) for row in (lows, highs)]
    rows += [sorted(y for x, y in bosses if x == row) for row in (left, right)]
    span = max(two - one for row in rows for one, two in pairwise(row))
    push = 0.5  # N/mm, soft silicone cord (from memory)
    bending = 40 * own.walls.back_mm**3 / 12  # a strip of 40 mm along the edge
    sag = 5 * push * span**4 / (384 * own.load.modulus_mpa * bending)
    return Load("seal, sag between screws", sag, own.seal.cord_mm * own.seal.squeeze / 2, "mm")
