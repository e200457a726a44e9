"""What can be computed of the case: does it print, does it fit, does it hold."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from manifold3d import CrossSection, Manifold

# Pairs that are meant to touch; every other pair keeps its distance.
TOUCHING = {
    frozenset(pair)
    for pair in (
        ("button", "shell"),
        ("window", "shell"),
        ("display", "shell"),
        ("charger", "shell"),
        ("speaker", "shell"),
        ("receivers", "shell"),
        ("driver", "shell"),
        ("emitters", "shell"),
        ("emitters", "head"),
        ("head", "shell"),
        ("head", "back"),
        ("lid", "head"),
        ("ridge", "shell"),
        ("carrier", "back"),
        ("switch", "shell"),
        ("jack", "shell"),
        ("screws", "shell"),
        ("screws", "back"),
        ("cell", "back"),
        ("clock", "back"),
        ("lamps", "lamp bar"),
        ("lamp bar", "shell"),
        ("diffuser", "shell"),
        ("shell", "back"),
        ("carrier", "shell"),
    )
}


@dataclass(frozen=True)
class Overhang:
    """A surface that looks down over more than the printer bears: its place and longer side."""

    at: tuple[float, float, float]
    area_mm2: float
    span_mm: float
    flat: bool


def _triangles(solid: Manifold) -> tuple[Any, Any]:
    import numpy as np

    mesh = solid.to_mesh()
    return np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts)


def overhangs(solid: Manifold, most_deg: float) -> list[Overhang]:
    """Return the surfaces that need support, of a part as it lies on the bed.

    Triangles whose normal looks down by more than ``most_deg`` allows, joined where they meet.
    """
    import numpy as np
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    points, triangles = _triangles(solid)
    corners = points[triangles]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    double = np.linalg.norm(normal, axis=1)
    down = -normal[:, 2] / np.maximum(double, 1e-12)
    steep = down > math.sin(math.radians(most_deg)) + 0.02
    found = np.flatnonzero(steep & (corners[:, :, 2].max(axis=1) > 0.05) & (double > 1e-4))
    if not len(found):
        return []
    verts = triangles[found]
    ends = [verts[:, [0, 1]], verts[:, [1, 2]]]
    first, second = np.concatenate(ends).T
    graph = coo_matrix((np.ones(len(first)), (first, second)), shape=(len(points),) * 2)
    group = connected_components(graph, directed=False)[1][verts[:, 0]]
    every = (_overhang(corners[found[group == n]], double[found[group == n]]) for n in set(group))
    # A drop's tip is a line of 0.02 mm.
    return [one for one in every if one.span_mm > 0.1 and one.area_mm2 > 0.1]


def _overhang(corners: Any, double: Any) -> Overhang:
    flat = corners.reshape(-1, 3)
    low, high = flat.min(axis=0), flat.max(axis=0)
    x, y, z = (float(value) for value in (low + high) / 2)
    span = float(max(high[:2] - low[:2]))
    return Overhang((x, y, z), float(double.sum() / 2), span, bool(high[2] - low[2] < 0.02))


def thin(solid: Manifold, least_mm: float, step_mm: float = 1.3) -> list[tuple[str, float, float]]:
    """Return where cuts through a part show material thinner than ``least_mm``.

    Each cut is shrunk by half the least wall and grown again; what does not come back is thin.
    Edges and corners lose slivers too, so only what is larger than a square of the least wall, and
    goes on from one cut to the next, counts. Gives axis, level and area in mm2.
    """
    found = []
    for axis, turn in (("z", (0, 0, 0)), ("y", (90, 0, 0)), ("x", (0, 90, 0))):
        turned = solid.rotate(turn)
        low, high = turned.bounding_box()[2], turned.bounding_box()[5]
        level, before = low + step_mm / 2, CrossSection()
        while level < high:
            cut = turned.slice(level)
            kept = cut.offset(-least_mm / 2 + 0.01).offset(least_mm / 2 + 0.05)
            lost = cut - kept
            for piece in lost.decompose():
                goes_on = (piece ^ before).area() > 0
                if piece.area() > least_mm * least_mm and goes_on:
                    found.append((axis, level, piece.area()))
            level, before = level + step_mm, lost
    return found


def collisions(solids: dict[str, Manifold], least_mm3: float = 1.0) -> list[tuple[str, str, float]]:
    """Return the pairs that share more than ``least_mm3`` of room."""
    found = []
    for one, two in combinations(solids, 2):
        shared = (solids[one] ^ solids[two]).volume()
        if shared > least_mm3:
            found.append((one, two, shared))
    return found


def too_near(solids: dict[str, Manifold], gap_mm: float) -> list[tuple[str, str, float]]:
    """Return the pairs that are not meant to touch and are nearer than ``gap_mm``."""
    found = []
    for one, two in combinations(solids, 2):
        if frozenset((one, two)) not in TOUCHING:
            gap = solids[one].min_gap(solids[two], gap_mm * 2)
            if gap < gap_mm:
                found.append((one, two, gap))
    return found
