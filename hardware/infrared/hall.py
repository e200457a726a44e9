"""A hall with boxes, people and a remote, all drawn at random, and what light comes to each box.

A box may have several receivers, whose outputs are joined: the one that gets most counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from hardware.infrared.light import Floats, Lantern, blocked, low_part, response
from hardware.infrared.parts import CARRIER, RECEIVER
from hardware.infrared.ranges import Case, needs_mw_m2
from hardware.infrared.room import Room

BOXES = 24
RAYS = 120  # of each emitter, for what it throws on walls, floor and ceiling
SWAY_M = 0.3  # how far a person has gone from one telegram to the next (1 sigma), assumed
EDGE_M = 1.0  # what keeps away from walls
ROOM_M = 0.6  # nobody stands nearer to the bearer of a remote


@dataclass(frozen=True)
class Carried:
    """Where a remote is while it tells, and whether its bearer stands behind it."""

    name: str
    high_m: float
    bearer: bool


CHEST = Carried("held before the chest, 1.25 m", 1.25, True)
RAISED = Carried("held up, 2.1 m", 2.1, True)
STAND = Carried("on a stand, 2.2 m", 2.2, False)


@dataclass(frozen=True)
class Hall:
    """One drawn hall; ``looks`` are unit directions by box and receiver, the first is the front."""

    case: Case
    room: Room
    boxes: Floats
    looks: Floats
    needs_mw_m2: Floats
    people: Floats  # x, y, radius
    at: Floats  # where the remote's bearer is, x and y
    ahead: float

    @property
    def factor(self) -> float:
        """Return what is left of typical emitters' light behind both windows."""
        return CARRIER * self.case.spread * self.case.battery * self.case.windows

    @property
    def body_per_m(self) -> float:
        """Return the share of light that people take from a metre of way among them."""
        return float(2 * self.people[:, 2].sum() / (self.room.size[0] * self.room.size[1]))

    def told(
        self, lantern: Lantern, carried: Carried, telegrams: int, rng: np.random.Generator
    ) -> Floats:
        """Return what the receivers get of a remote, mW/m2 on their axes, by telegram and box.

        People sway from one telegram to the next; what comes by way of walls stays.
        """
        start = np.array([*self.at, carried.high_m])
        bodies = self.people
        if carried.bearer:
            behind = self.at - 0.30 * np.array([np.cos(self.ahead), np.sin(self.ahead)])
            bodies = np.vstack((bodies, [*behind, self.case.body_m / 2]))
        ways = lantern.rays(self.ahead, RAYS)
        thrown = self._thrown(start, ways, bodies, lantern.flux_mw() / len(ways))
        scattered = self._scattered @ thrown
        bare = self._straight(start, lantern, self.ahead)
        found = np.empty((telegrams, *self.looks.shape[:2]))
        for n in range(telegrams):
            seen = ~blocked(start, self.boxes, self._swayed(bodies, rng) if n else bodies)
            found[n] = (bare * seen[:, None] + scattered) * self.factor
        return found

    def between(self, lantern: Lantern) -> Floats:
        """Return what receivers get of each box that repeats, by telling box and hearing one."""
        aheads = np.arctan2(self.looks[:, 0, 1], self.looks[:, 0, 0])
        straight = np.empty((*self.looks.shape[:2], len(self.boxes)))
        thrown = np.empty((len(self.room.areas), len(self.boxes)))
        for n, (start, ahead) in enumerate(zip(self.boxes, aheads, strict=True)):
            ways = lantern.rays(float(ahead), RAYS)
            each_mw = lantern.flux_mw() / len(ways)
            thrown[:, n] = self._thrown(start, ways, self.people, each_mw)
            seen = ~blocked(start, self.boxes, self.people)
            straight[..., n] = self._straight(start, lantern, float(ahead)) * seen[:, None]
        found = np.moveaxis(straight + self._scattered @ thrown, 2, 0) * self.factor
        found[np.arange(len(found)), np.arange(len(found))] = 0
        return np.asarray(found)

    def _swayed(self, bodies: Floats, rng: np.random.Generator) -> Floats:
        moved = bodies.copy()
        moved[: len(self.people), :2] += rng.normal(0, SWAY_M, (len(self.people), 2))
        return moved

    def _straight(self, start: Floats, lantern: Lantern, ahead: float) -> Floats:
        line = self.boxes - start
        away = np.maximum(np.linalg.norm(line, axis=1), 0.3)
        to = line / away[:, None]
        bright = lantern.towards_mw_sr(ahead, to) / away**2
        return np.asarray(bright[:, None] * response(RECEIVER, self.looks, -to[:, None, :]))

    def _thrown(self, start: Floats, ways: Floats, bodies: Floats, each_mw: float) -> Floats:
        ends, _ = self.room.hits(start, ways)
        free = ~blocked(start, ends, bodies)
        return self.room.deposit(start, ways[free], np.full(int(free.sum()), each_mw))

    @cached_property
    def _scattered(self) -> Floats:
        """What a mW thrown on each patch brings each receiver by all bounces, mW/m2."""
        case, room = self.case, self.room
        line = room.middles[None, :, :] - self.boxes[:, None, :]
        away2 = (line**2).sum(axis=2)
        to = line / np.sqrt(np.maximum(away2, 1e-9))[..., None]
        cosine = np.clip(-(to * room.normals[None, :, :]).sum(axis=2), 0, None)
        low_m = low_part(self.boxes[:, None, :], room.middles[None, :, :])
        cosine *= np.exp(-self.body_per_m * low_m) / (np.pi * away2 + room.areas[None, :])
        taken = response(RECEIVER, self.looks[:, :, None, :], to[:, None, :, :])
        reflect = room.reflects(case.wall, case.floor, case.ceiling)
        weights = (cosine[:, None, :] * taken).reshape(-1, len(reflect))
        return room.gather(weights, reflect, self.body_per_m).reshape(*taken.shape)


def draw(rng: np.random.Generator, case: Case, boxes: int = BOXES, receivers: int = 1) -> Hall:
    """Draw a hall of a case: places of boxes, people and the remote."""
    size = (case.long_m, case.wide_m, case.high_m)
    where, looking = _hung(rng, case, boxes)
    front = _ways(looking)
    people = round(case.people)
    stations = rng.permutation(np.resize(np.arange(boxes), people))
    before = where[stations, :2] + front[stations, :2] * rng.uniform(0.5, 2.0, (people, 1))
    before += rng.normal(0, 0.4, (people, 2))
    before = np.clip(before, 0.3, np.array(size[:2]) - 0.3)
    sunny = rng.random(boxes) < case.sunny
    at = rng.uniform(0.1, 0.9, 2) * size[:2]
    before = before[np.linalg.norm(before - at, axis=1) > ROOM_M]
    turns = 2 * np.pi * np.arange(receivers) / receivers
    return Hall(
        case,
        Room(size),
        where,
        _ways(looking[:, None] + turns),
        needs_mw_m2(case, sunny),
        np.column_stack((before, np.full(len(before), case.body_m / 2))),
        at,
        float(rng.uniform(-np.pi, np.pi)),
    )


def _ways(looking: Floats) -> Floats:
    """Return level directions of angles."""
    return np.stack((np.cos(looking), np.sin(looking), np.zeros_like(looking)), axis=-1)


def _hung(rng: np.random.Generator, case: Case, boxes: int) -> tuple[Floats, Floats]:
    """Return where boxes are and which way they look: on walls into the hall, or at stations."""
    size = np.array([case.long_m, case.wide_m])
    at_station: NDArray[np.bool_] = rng.random(boxes) < case.at_stations
    flat = rng.uniform(EDGE_M, size - EDGE_M, (boxes, 2))
    to_middle = size / 2 - flat
    looking = np.arctan2(to_middle[:, 1], to_middle[:, 0])
    along = rng.uniform(0, size.sum() * 2, boxes)
    for n in np.flatnonzero(~at_station):
        flat[n], looking[n] = _on_wall(float(along[n]), size)
    askew = rng.normal(0, np.radians(case.askew_deg), boxes)
    askew[~at_station] = np.clip(askew[~at_station], -1.2, 1.2)
    any_way = at_station & (rng.random(boxes) < case.any_way)
    looking = np.where(any_way, rng.uniform(-np.pi, np.pi, boxes), looking + askew)
    where = np.column_stack((flat, np.full(boxes, case.box_m)))
    return where, looking


def _on_wall(along: float, size: Floats) -> tuple[Floats, float]:
    long_, wide = map(float, size)
    off = 0.05
    for length, at, look in (
        (long_, lambda s: (s, off), np.pi / 2),
        (wide, lambda s: (long_ - off, s), np.pi),
        (long_, lambda s: (s, wide - off), -np.pi / 2),
    ):
        if along < length:
            return np.clip(np.array(at(along)), off, size - off), look
        along -= length
    return np.clip(np.array([off, along]), off, size - off), 0.0
