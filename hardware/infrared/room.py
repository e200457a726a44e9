"""A hall's walls, floor and ceiling in patches that scatter light evenly, as dull paint does."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from hardware.infrared.light import Floats, low_part

STEP_M = 2.0  # a patch's side, about
BALANCED = 60  # rounds in which the patches' shares are made to add up


class Room:
    """Patches of the six faces; ``size`` is long, wide, high."""

    def __init__(self, size: tuple[float, float, float], step_m: float = STEP_M) -> None:
        self.size = np.array(size)
        self._key = (size, step_m)
        middles, normals, areas, faces = [], [], [], []
        self._grid: list[tuple[int, int, int, int, int]] = []  # first patch, axes, numbers
        first = 0
        for axis in range(3):
            u, v = (n for n in range(3) if n != axis)
            nu, nv = (max(1, round(size[n] / step_m)) for n in (u, v))
            at_u, at_v = np.meshgrid(
                (np.arange(nu) + 0.5) * size[u] / nu, (np.arange(nv) + 0.5) * size[v] / nv,
                indexing="ij",
            )  # fmt: skip
            for side in (0, 1):
                middle = np.empty((nu * nv, 3))
                middle[:, axis] = side * size[axis]
                middle[:, u], middle[:, v] = at_u.ravel(), at_v.ravel()
                normal = np.zeros((nu * nv, 3))
                normal[:, axis] = 1 - 2 * side
                middles.append(middle)
                normals.append(normal)
                areas.append(np.full(nu * nv, size[u] * size[v] / (nu * nv)))
                faces.append(np.full(nu * nv, 2 * axis + side))
                self._grid.append((first, u, v, nu, nv))
                first += nu * nv
        self.middles, self.normals = np.concatenate(middles), np.concatenate(normals)
        self.areas, self.faces = np.concatenate(areas), np.concatenate(faces)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Room) and self._key == other._key

    def __hash__(self) -> int:
        return hash(self._key)

    def reflects(self, wall: float, floor: float, ceiling: float) -> Floats:
        """Return each patch's reflectance."""
        by_face = np.array([wall, wall, wall, wall, floor, ceiling], dtype=np.float64)
        return np.asarray(by_face[self.faces])

    def hits(self, start: Floats, ways: Floats) -> tuple[Floats, NDArray[np.int64]]:
        """Return where rays from a point inside end, and on which patches."""
        with np.errstate(divide="ignore", invalid="ignore"):
            away = np.where(ways > 0, (self.size - start) / ways, -start / ways)
        away[~np.isfinite(away)] = np.inf
        axis = away.argmin(axis=1)
        rows = np.arange(len(ways))
        ends = start + ways * away[rows, axis][:, None]
        face = 2 * axis + (ways[rows, axis] > 0)
        first, u, v, nu, nv = np.array(self._grid)[face].T
        at_u = np.clip(ends[rows, u] / self.size[u] * nu, 0, nu - 1).astype(np.int64)
        at_v = np.clip(ends[rows, v] / self.size[v] * nv, 0, nv - 1).astype(np.int64)
        return ends, first + at_u * nv + at_v

    def deposit(self, start: Floats, ways: Floats, mw: Floats) -> Floats:
        """Return what falls on each patch from rays, given what each carries."""
        _, patches = self.hits(start, ways)
        return np.bincount(patches, weights=mw, minlength=len(self.areas)).astype(np.float64)

    def settle(self, first_mw: Floats, reflect: Floats) -> Floats:
        """Return what falls on each patch in all, from what falls on it before any bounce."""
        bounces = np.eye(len(reflect)) - self.shares().T * reflect
        return np.asarray(np.linalg.solve(bounces, first_mw), dtype=np.float64)

    def gather(self, weights: Floats, reflect: Floats, body_per_m: float = 0.0) -> Floats:
        """Return what light that falls first on each patch comes to somewhere in the end.

        ``weights`` are rows of what comes there of a mW that leaves a patch. ``body_per_m`` is the
        share of light that bodies take from a metre of way among them.
        """
        shares, low_m = _shares(self)
        if body_per_m:
            shares = shares * np.exp(-body_per_m * low_m)
        bounces = np.eye(len(reflect)) - shares.T * reflect
        return np.asarray(np.linalg.solve(bounces.T, (weights * reflect).T).T)

    def shares(self) -> Floats:
        """Return which share of what leaves a patch falls on each other one."""
        return _shares(self)[0]


@lru_cache(maxsize=4)
def _shares(room: Room) -> tuple[Floats, Floats]:
    """Return the shares, made to add up to 1 and to be fair both ways, and lines among bodies."""
    between = room.middles[None, :, :] - room.middles[:, None, :]
    away2 = (between**2).sum(axis=2)
    leaves = np.clip((between * room.normals[:, None, :]).sum(axis=2), 0, None)
    comes = np.clip(-(between * room.normals[None, :, :]).sum(axis=2), 0, None)
    areas = room.areas
    link = leaves * comes * np.outer(areas, areas) / (np.pi * np.maximum(away2, 1e-9) ** 2)
    scale = np.ones(len(areas))
    for _ in range(BALANCED):
        scale = np.sqrt(scale * areas / (link @ scale))
    link = link * np.outer(scale, scale)
    low_m = low_part(room.middles[:, None, :], room.middles[None, :, :])
    return link / areas[:, None], low_m
