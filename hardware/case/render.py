"""Pictures of solids by casting rays: no display and no graphics card is needed."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, cast

from manifold3d import Manifold

FINER = 2  # rays to a pixel, each way
SHADOW_RAYS = 24
SHADOW_MM = 60.0  # beyond it nothing darkens a place
INK = (0.16, 0.18, 0.22)
SMOOTH = 0.8  # faces that bend less (a cosine) are shaded as one round surface


@dataclass(frozen=True)
class Piece:
    """A solid, its colour (red, green, blue, 0 to 1) and how far it is drawn from its place.

    ``glow`` takes places in mm, a row each, and returns the light that each gives off, as a colour.
    """

    solid: Manifold
    colour: tuple[float, float, float]
    away: tuple[float, float, float] = (0.0, 0.0, 0.0)
    glow: Callable[[Any], Any] | None = None


class View:
    """A parallel view of pieces from a direction, ``turn`` and ``rise`` in degrees."""

    def __init__(self, pieces: list[Piece], turn: float, rise: float, wide_px: int) -> None:
        """Fit the pieces into a picture ``wide_px`` wide; its height follows."""
        import numpy as np
        import trimesh

        meshes, colours = [], []
        for piece in pieces:
            data = piece.solid.translate(piece.away).to_mesh()
            points = np.asarray(data.vert_properties)[:, :3].astype(float)
            meshes.append(trimesh.Trimesh(points, np.asarray(data.tri_verts), process=False))
            colours.append(np.tile(piece.colour, (len(meshes[-1].faces), 1)))
        self.mesh = cast(Any, trimesh.util.concatenate(meshes))
        self.colour = np.concatenate(colours)
        self.part = np.repeat(np.arange(len(meshes)), [len(mesh.faces) for mesh in meshes])
        self.glow = [piece.glow for piece in pieces]
        self.round = _rounded(self.mesh)
        t, r = math.radians(turn), math.radians(rise)
        # The eye looks along `ahead`; turn 0 sees the face (from below z), turn 180 the back.
        self.ahead = np.array((math.sin(t) * math.cos(r), -math.sin(r), math.cos(t) * math.cos(r)))
        self.right = np.array((-math.cos(t), 0.0, math.sin(t)))
        self.up = np.cross(self.right, self.ahead)
        plane = np.stack((self.mesh.vertices @ self.right, self.mesh.vertices @ self.up), axis=1)
        self.low, self.high = plane.min(axis=0) - 6, plane.max(axis=0) + 6
        self.scale = wide_px / (self.high[0] - self.low[0])
        self.size = (wide_px, round((self.high[1] - self.low[1]) * self.scale))

    def pixel(self, point: tuple[float, float, float]) -> tuple[float, float]:
        """Return where a point of the case's frame lies in the picture, from its upper left."""
        x = (float(self.right @ point) - self.low[0]) * self.scale
        y = (self.high[1] - float(self.up @ point)) * self.scale
        return x, y

    def image(self) -> Any:
        """Return the picture as a Pillow image."""
        import numpy as np
        from PIL import Image

        wide, high = (size * FINER for size in self.size)
        step = 1 / (self.scale * FINER)
        u = self.low[0] + (np.arange(wide) + 0.5) * step
        v = self.high[1] - (np.arange(high) + 0.5) * step
        grid_u, grid_v = np.meshgrid(u, v)
        start = grid_u.reshape(-1, 1) * self.right + grid_v.reshape(-1, 1) * self.up
        start = start - 1000 * self.ahead
        hit = self._first(start, np.broadcast_to(self.ahead, start.shape))
        seen = hit >= 0
        shade = np.ones((len(start), 3))
        depth = np.full(len(start), 1e6)
        normal = self.mesh.face_normals[np.maximum(hit, 0)]
        to_plane = self.mesh.triangles[np.maximum(hit, 0), 0] - start
        facing = np.minimum(normal @ self.ahead, -1e-6)
        depth[seen] = (np.einsum("ij,ij->i", to_plane, normal) / facing)[seen]
        place = start + depth[:, None] * self.ahead
        # Shadows are soft: one place in each pixel stands for its rays.
        rows, columns = np.indices((high, wide))
        one = ((rows // FINER * FINER) * wide + columns // FINER * FINER).reshape(-1)
        some = seen & (one == np.arange(len(start)))
        light = np.full(len(start), np.nan)
        light[some] = self._light(place[some], normal[some], self._smooth(hit[some], place[some]))
        light = np.where(np.isnan(light[one]), 0.8, light[one])
        shade[seen] = self.colour[hit[seen]] * light[seen][:, None]
        for part, glow in enumerate(self.glow):
            if glow is not None:
                of_it = seen & (self.part[np.maximum(hit, 0)] == part)
                given = glow(place[of_it])
                shade[of_it] = shade[of_it] * (1 - given.max(axis=1, keepdims=True)) + given
        picture = shade.reshape(high, wide, 3)
        edge = self._edges(
            np.where(seen, self.part[np.maximum(hit, 0)], -1).reshape(high, wide),
            normal.reshape(high, wide, 3),
            depth.reshape(high, wide),
        )
        picture[edge] = picture[edge] * 0.35 + np.array(INK) * 0.65
        pixels = (np.clip(picture, 0, 1) * 255).astype(np.uint8)
        return Image.fromarray(pixels).resize(self.size, Image.Resampling.LANCZOS)

    def _first(self, start: Any, ahead: Any) -> Any:
        return self.mesh.ray.intersects_first(start, ahead)

    def _smooth(self, hit: Any, place: Any) -> Any:
        """Return the normal at each place of a face as if the surface were round."""
        import numpy as np
        from trimesh import triangles

        barycentric = cast(Any, triangles.points_to_barycentric)
        parts = barycentric(self.mesh.triangles[hit], place)
        normal = np.einsum("ij,ijk->ik", parts, self.round[hit])
        return normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-9)[:, None]

    def _light(self, place: Any, normal: Any, smooth: Any) -> Any:
        """Return brightness: two lamps, and less of it where near surfaces close a place in."""
        import numpy as np

        key = -self.ahead * 0.6 + self.up * 0.7 - self.right * 0.4
        key = key / np.linalg.norm(key)
        lit = 0.62 + 0.3 * np.clip(smooth @ key, 0, 1) + 0.18 * np.clip(smooth @ -self.ahead, 0, 1)
        ways = np.random.default_rng(5).normal(size=(SHADOW_RAYS, 3))
        ways /= np.linalg.norm(ways, axis=1)[:, None]
        closed = np.zeros(len(place))
        start = place + normal * 0.05
        for way in ways:
            ahead = np.where((normal @ way)[:, None] < 0, -way, way)
            hit = self._first(start, ahead)
            face = self.mesh.face_normals[hit]
            off = np.einsum("ij,ij->i", self.mesh.triangles[hit, 0] - start, face)
            slope = np.einsum("ij,ij->i", ahead, face)
            far = np.abs(off) / np.maximum(np.abs(slope), 1e-6)
            closed += np.where(hit >= 0, np.clip(1 - far / SHADOW_MM, 0, 1), 0)
        return lit * (1 - 0.75 * closed / SHADOW_RAYS)

    def _edges(self, part: Any, normal: Any, depth: Any) -> Any:
        import numpy as np

        edge = np.zeros(part.shape, dtype=bool)
        for axis in (0, 1):
            first = [slice(None)] * 2
            second = [slice(None)] * 2
            first[axis], second[axis] = slice(None, -1), slice(1, None)
            a, b = tuple(first), tuple(second)
            bent = np.einsum("ijk,ijk->ij", normal[a], normal[b]) < 0.85
            step = np.abs(depth[a] - depth[b]) > 2.5
            line = (part[a] != part[b]) | ((bent | step) & (part[a] >= 0))
            edge[a] |= line
            edge[b] |= line
        return edge


def _rounded(mesh: Any) -> Any:
    """Return a normal for each corner of each face: the mean of faces there that bend little."""
    import numpy as np

    about = mesh.vertex_faces[mesh.faces]  # face, corner, faces about it; -1 where there are fewer
    own = mesh.face_normals[:, None, None, :]
    normals = mesh.face_normals[np.maximum(about, 0)]
    near = (about >= 0) & ((normals * own).sum(axis=-1) > SMOOTH)
    weights = np.where(near, mesh.area_faces[np.maximum(about, 0)], 0.0)
    total = (normals * weights[..., None]).sum(axis=2)
    return total / np.maximum(np.linalg.norm(total, axis=-1), 1e-9)[..., None]
