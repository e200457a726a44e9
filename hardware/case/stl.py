"""The printed parts as files for a slicer."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

from manifold3d import Manifold

from handbell.base.files import write_whole

from .build import Case
from .remote import RemoteCase


def stl_bytes(solid: Manifold) -> bytes:
    """Return a solid as binary STL, in mm: 80 bytes of head, a count, 50 bytes a triangle.

    STL holds 32-bit floats: points nearer than they tell apart become one, and triangles that
    vanish by it are left out, or else readers would find edges with four faces.
    """
    import numpy as np

    mesh: Any = solid.to_mesh()
    corners = np.asarray(mesh.vert_properties)[:, :3].astype("<f4")[np.asarray(mesh.tri_verts)]
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    gone = (a == b).all(axis=1) | (b == c).all(axis=1) | (c == a).all(axis=1)
    corners = corners[~gone]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    kind = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("more", "<u2")])
    rows = np.zeros(len(corners), dtype=kind)
    rows["normal"], rows["corners"] = normal, corners
    head = b"Handbell case, mm".ljust(80)
    return head + struct.pack("<I", len(rows)) + rows.tobytes()


def write(case: Case | RemoteCase, folder: Path) -> list[Path]:
    """Write every printed part as it lies on the bed; returns the files."""
    folder.mkdir(parents=True, exist_ok=True)
    files = []
    for name in case.printed:
        path = folder / f"{name.replace(' ', '-')}.stl"
        write_whole(path, stl_bytes(case.on_bed(name)))
        files.append(path)
    return files
