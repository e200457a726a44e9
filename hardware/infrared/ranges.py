"""What is assumed of halls, people, boxes and noise: a good end, a middle and a bad end each.

The mean case draws each from a triangle between the ends. In the hard case all are half way from
the middle to the bad end at once, in the bad case all are at it. Where boxes, people and the remote
are is drawn anew for each hall in all three.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SUN_W_M2 = 30.0  # direct sun through glass on a receiver; 10 W/m2 is 8.2 klx (memory)


@dataclass(frozen=True)
class Range:
    """A figure between two ends; ``good`` is the end that lets telegrams through."""

    what: str
    good: float
    middle: float
    bad: float
    source: str

    def draw(self, rng: np.random.Generator) -> float:
        """Return one of the mean case."""
        low, high = sorted((self.good, self.bad))
        return float(rng.triangular(low, self.middle, high))


RANGES = {
    "long_m": Range("hall, long side, m", 12, 20, 30, "small gym to sports hall; assumed"),
    "wide_m": Range("hall, short side, m", 8, 14, 20, "small gym to sports hall; assumed"),
    "high_m": Range("hall, height, m", 3, 5, 8, "assumed"),
    "wall": Range(
        "walls reflect", 0.7, 0.5, 0.2, "read: Osram's table for visible light, plaster 0.8, "
        "concrete 0.3, brick 0.2; at 940 nm assumed"),
    "ceiling": Range("ceiling reflects", 0.8, 0.5, 0.2, "the same"),
    "floor": Range(
        "floor reflects", 0.4, 0.25, 0.1, "the same: light oak 0.4, dark oak 0.2, black 0.1"),
    "people": Range("people on the floor", 8, 16, 30, "assumed; each stands before a box"),
    "body_m": Range("a body's width, m", 0.40, 0.45, 0.55, "assumed; 1.75 m tall, dull black"),
    "least_mw_m2": Range(
        "least that a receiver takes in the dark, mW/m2", 0.12, 0.2, 0.4,
        "read: TSOP48.., typical 0.2, most 0.4; good end from memory of newer ones"),
    "daylight_w_m2": Range(
        "steady light on a receiver, near infra-red, W/m2", 0.1, 0.5, 3, "assumed"),
    "sunny": Range("share of boxes in direct sun", 0, 0.03, 0.15, "assumed; 30 W/m2 on those"),
    "lamps": Range(
        "lamps with a ballast raise what is needed, times", 1, 1.3, 3,
        "assumed; data sheets say that it is raised, not by how much"),
    "spread": Range(
        "emitters against typical", 1.43, 1, 0.57, "read: SFH 4726S, 160 to 400, typical 280"),
    "battery": Range(
        "current and heat against full", 1, 0.93, 0.8, "assumed; -0.3 % a kelvin read (4726S)"),
    "windows": Range("what both windows let through", 0.9, 0.8, 0.6, "assumed; dust and sweat"),
    "lost": Range(
        "telegrams lost with light enough", 0.005, 0.02, 0.1, "assumed; flicker, other remotes"),
    "at_stations": Range(
        "share of boxes at stations, others on walls", 0.3, 0.5, 0.8, "assumed"),
    "any_way": Range("share of those at stations that face any way", 0, 0.15, 0.5, "assumed"),
    "askew_deg": Range("others face the hall within, degrees (1 sigma)", 10, 20, 35, "assumed"),
    "box_m": Range("boxes hang at, m", 2.0, 1.5, 1.0, "assumed"),
}  # fmt: skip


@dataclass(frozen=True)
class Case:
    """One draw of all ranges."""

    values: dict[str, float]

    def __getattr__(self, name: str) -> float:
        try:
            return self.values[name]
        except KeyError:
            raise AttributeError(name) from None


def mean_case(rng: np.random.Generator) -> Case:
    """Draw each range from between its ends."""
    values = {name: each.draw(rng) for name, each in RANGES.items()}
    values["wide_m"] = min(values["wide_m"], values["long_m"])
    return Case(values)


def case_of(part: float, worse: tuple[str, ...] = ()) -> Case:
    """Return all ranges that part of the way from middle to bad end, ``worse`` ones at the end."""
    return Case(
        {
            name: each.bad if name in worse else each.middle + part * (each.bad - each.middle)
            for name, each in RANGES.items()
        }
    )


def needs_mw_m2(case: Case, sunny: np.ndarray) -> np.ndarray:
    """Return what each receiver needs: noises add as squares, like a photo current's."""
    steady = np.where(sunny, SUN_W_M2, case.daylight_w_m2)
    noise = 1 + steady / 1.0 + (case.lamps**2 - 1)
    return np.asarray(case.least_mw_m2 * np.sqrt(noise))
