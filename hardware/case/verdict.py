"""What is wrong with a case, in sentences; and its figures in a table."""

from __future__ import annotations

from .build import Case
from .checks import collisions, overhangs, thin, too_near
from .loads import loads
from .remote import RemoteCase


def faults(case: Case) -> list[str]:
    """Return one sentence for each thing that would not print, fit or hold."""
    return [*printing(case), *fitting(case), *holding(case)]


def remote_faults(case: RemoteCase) -> list[str]:
    """Return one sentence for each thing of a remote that would not print or fit."""
    return [*printing(case), *fitting(case)]


def printing(case: Case | RemoteCase) -> list[str]:
    """Return what would not print: size, pieces, overhangs, thin walls."""
    rules, found = case.own.print, []
    for name in case.printed:
        solid = case.on_bed(name)
        box = solid.bounding_box()
        size = [box[axis + 3] - box[axis] for axis in range(3)]
        if any(side > most for side, most in zip(size, rules.bed_mm, strict=True)):
            found.append(f"{name}: {size[0]:.0f} x {size[1]:.0f} mm is larger than the bed.")
        if len(solid.decompose()) != 1:
            found.append(f"{name}: falls into {len(solid.decompose())} pieces.")
        for one in overhangs(solid, rules.overhang_deg):
            if not one.flat or one.span_mm > rules.bridge_most_mm:
                at = ", ".join(f"{value:.0f}" for value in one.at)
                found.append(f"{name}: {one.span_mm:.1f} mm at ({at}) hang over without support.")
        for axis, level, area in thin(solid, rules.wall_least_mm):
            found.append(
                f"{name}: thinner than {rules.wall_least_mm} mm at {axis} = {level:.1f} "
                f"({area:.1f} mm2)."
            )
    return found


def fitting(case: Case | RemoteCase) -> list[str]:
    """Return what would not fit: parts in one place, too near, or a thread too short."""
    solids = case.printed | case.bought
    found = [
        f"{one} and {two} share {volume:.0f} mm3."
        for one, two, volume in collisions(solids)
    ]  # fmt: skip
    least = case.own.gaps.part_mm
    for one, two, gap in too_near(solids, least):
        found.append(f"{one} and {two} are {gap:.2f} mm apart; {least} mm are needed.")
    walls = case.own.walls
    for name, wall in (("button", walls.face_mm), ("jack", walls.side_mm)):
        most = getattr(case.part, name).panel_most
        if wall > most:
            found.append(f"{name}: its thread takes {most} mm, and the wall is {wall} mm.")
    return found


def holding(case: Case) -> list[str]:
    """Return every load that is over what it may be."""
    return [
        f"{one.what}: {one.value:.1f} {one.unit}, and at most {one.most:.1f} are allowed."
        for one in loads(case)
        if one.value > one.most
    ]


def table(case: Case) -> str:
    """Return sizes on the bed and loads, for people."""
    lines = _sizes(case)
    for one in loads(case):
        lines.append(f"{one.what:<28}{one.value:.2f} of {one.most:.2f} {one.unit}")
    return "\n".join(lines)


def remote_table(case: RemoteCase) -> str:
    """Return a remote's sizes on the bed, for people."""
    return "\n".join(_sizes(case))


def _sizes(case: Case | RemoteCase) -> list[str]:
    lines = []
    for name in case.printed:
        box = case.on_bed(name).bounding_box()
        size = " x ".join(f"{box[axis + 3] - box[axis]:.1f}" for axis in range(3))
        lines.append(f"{name:<28}{size} mm on the bed")
    lines.append(f"{'plastic':<28}{case.plastic_g():.0f} g")
    return lines
