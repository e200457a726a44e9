"""Light in straight lines: lobes, bodies in the way, rays.

Lengths are metres, light mW; points and directions are rows of three, z is up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hardware.infrared.parts import Emitter, Receiver

Floats = NDArray[np.float64]
TALL_M = 1.75
_GOLDEN = math.pi * (3 - math.sqrt(5))


@dataclass(frozen=True)
class Lantern:
    """Emitters that shine from one place: how many, at what current, which way each."""

    name: str
    emitter: Emitter
    ma: float
    axes: tuple[tuple[float, float], ...]  # degrees round from ahead, degrees up

    def ways(self, ahead: float) -> Floats:
        """Return the axes as directions where the bearer looks along ``ahead`` (radians)."""
        round_, up = np.radians(np.array(self.axes)).T
        flat = np.cos(up)
        return np.column_stack(
            (flat * np.cos(round_ + ahead), flat * np.sin(round_ + ahead), np.sin(up))
        )

    def flux_mw(self) -> float:
        """Return all it sends while it is lit."""
        return self.emitter.flux_mw(self.ma) * len(self.axes)

    def towards_mw_sr(self, ahead: float, to: Floats) -> Floats:
        """Return the radiant intensity in each of some unit directions."""
        along = np.clip(to @ self.ways(ahead).T, 0, None)
        return np.asarray(self.emitter.at_mw_sr(self.ma) * (along**self.emitter.power).sum(axis=1))

    def rays(self, ahead: float, each: int) -> Floats:
        """Return directions of equal light, ``each`` for every emitter, spread by its lobe."""
        n = np.arange(each) + 0.5
        cosine = (1 - n / each) ** (1 / (self.emitter.power + 1))
        sine = np.sqrt(1 - cosine**2)
        turn = n * _GOLDEN
        found = []
        for axis in self.ways(ahead):
            side = np.cross(axis, (0.0, 0.0, 1.0) if abs(axis[2]) < 0.9 else (1.0, 0.0, 0.0))
            side /= np.linalg.norm(side)
            other = np.cross(axis, side)
            found.append(
                cosine[:, None] * axis
                + (sine * np.cos(turn))[:, None] * side
                + (sine * np.sin(turn))[:, None] * other
            )
        return np.concatenate(found)


def ring(many: int, up_deg: float, tops: int = 0) -> tuple[tuple[float, float], ...]:
    """Return axes all round, tilted up, and ``tops`` more straight up."""
    return tuple((360 * n / many, up_deg) for n in range(many)) + ((0.0, 90.0),) * tops


def response(receiver: Receiver, ways: Floats, from_: Floats) -> Floats:
    """Return how well receivers that look along ``ways`` take light that comes ``from_`` there."""
    along = np.clip((ways * from_).sum(axis=-1), 0, None)
    return np.asarray(along**receiver.power)


def blocked(start: Floats, ends: Floats, bodies: Floats) -> NDArray[np.bool_]:
    """Whether a body stands between a point and each of others.

    Bodies are upright cylinders, rows of x, y and radius; judged where the line comes nearest.
    """
    if not len(bodies):
        return np.zeros(len(ends), dtype=bool)
    line = ends - start
    flat = line[:, :2]
    length2 = np.maximum((flat**2).sum(axis=1), 1e-12)[:, None]
    to = bodies[None, :, :2] - start[None, None, :2]
    along = np.clip((to * flat[:, None, :]).sum(axis=2) / length2, 0, 1)
    apart2 = ((to - along[..., None] * flat[:, None, :]) ** 2).sum(axis=2)
    high = start[2] + along * line[:, 2][:, None]
    return np.asarray(((apart2 < bodies[None, :, 2] ** 2) & (high < TALL_M)).any(axis=1))


def low_part(one: Floats, other: Floats) -> Floats:
    """Return how much of each line between two points lies where bodies are, in metres."""
    low = np.minimum(one[..., 2], other[..., 2])
    high = np.maximum(one[..., 2], other[..., 2])
    rise = high - low
    share = np.where(
        rise < 1e-9, low < TALL_M, np.clip((TALL_M - low) / np.maximum(rise, 1e-9), 0, 1)
    )
    return np.asarray(np.linalg.norm(one - other, axis=-1) * share)
