"""Many halls drawn and summed up: what the page's tables and chart are made of."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from hardware.infrared.acts import WITHIN_MS, Slots, all_heard, chance, ends_ms
from hardware.infrared.hall import BOXES, STAND, Carried, draw
from hardware.infrared.light import Floats, Lantern, ring
from hardware.infrared.parts import BEAM, COMMON, SMALL, WIDE
from hardware.infrared.ranges import RANGES, Case, case_of, mean_case

RECEIVERS = 3
UNTIL_MS = 20_000.0
MANY = (4, 8, 12, 16, 24)
ACTS = 4  # told in each hall, where boxes repeat

SMALL_RING = Lantern("8 TSAL4400 at 70 mA, all round", SMALL, 70, ring(8, 10))
LANTERNS = (
    Lantern("one TSAL6200 at 100 mA, ahead", COMMON, 100, ((0.0, 0.0),)),
    SMALL_RING,
    Lantern("8 SFH 4726S at 1 A, 6 round, 2 up", WIDE, 1000, ring(6, 20, 2)),
    Lantern("8 SFH 4725S at 1 A, all round", BEAM, 1000, ring(8, 10)),
    Lantern("16 SFH 4725S at 1 A, two rings of 8", BEAM, 1000, ring(8, 0) + ring(8, 25)),
)
CHOSEN = LANTERNS[-1]
REPEATER = Lantern("3 SFH 4725S at 1 A on a box", BEAM, 1000, ring(3, 5))

CASES: dict[str, Callable[[np.random.Generator], Case]] = {
    "mean": mean_case,
    "hard": lambda rng: case_of(0.5),
    "bad": lambda rng: case_of(1.0),
}


@dataclass
class Tally:
    """What one lantern did in many halls."""

    once: list[float] = field(default_factory=list)  # chance of a telegram to a box
    within: dict[int, list[float]] = field(default_factory=dict)  # of all of so many, in 3 s
    by_time: list[list[float]] = field(default_factory=list)  # of all 24, by telegrams told
    times: list[float] = field(default_factory=list)  # its light times this would do

    def add(self, light: Floats, needs: Floats, lost: float) -> None:
        """Add a hall, by what its receivers get."""
        chances = chance(light, needs, lost)
        soon = chances[: len(ends_ms(WITHIN_MS))]
        self.once.append(float(chances.mean()))
        for many in MANY:
            self.within.setdefault(many, []).append(all_heard(soon, many))
        self.by_time.append([all_heard(chances[: n + 1], BOXES) for n in range(len(chances))])
        best = light[: len(soon)].max(axis=(0, -1)) / needs
        self.times.append(1 / max(1e-9, float(best.min())))

    def all_within(self, many: int = BOXES) -> float:
        """Return the chance that all of so many have heard within 3 s."""
        return float(np.mean(self.within[many]))

    def all_by(self) -> list[float]:
        """Return the chance that all have heard, after each telegram."""
        return [float(each) for each in np.mean(self.by_time, axis=0)]

    def times_for_99(self) -> float:
        """Return by what its light must be multiplied so that 99 of 100 halls have enough."""
        return float(np.percentile(self.times, 99))


def told(
    case_of_: Callable[[np.random.Generator], Case],
    halls: int,
    seed: int,
    lanterns: Sequence[Lantern] = LANTERNS,
    carried: Carried = STAND,
) -> dict[tuple[str, int], Tally]:
    """Return tallies by lantern and receivers of a box; a remote tells, nobody repeats."""
    rng = np.random.default_rng(seed)
    telegrams = len(ends_ms(UNTIL_MS))
    found = {(each.name, many): Tally() for each in lanterns for many in (1, RECEIVERS)}
    for _ in range(halls):
        case = case_of_(rng)
        hall = draw(rng, case, receivers=RECEIVERS)
        for lantern in lanterns:
            light = hall.told(lantern, carried, telegrams, rng)
            for many in (1, RECEIVERS):
                found[lantern.name, many].add(light[..., :many], hall.needs_mw_m2, case.lost)
    return found


def repeated(
    case_of_: Callable[[np.random.Generator], Case],
    halls: int,
    seed: int,
    remote: Lantern = CHOSEN,
    carried: Carried = STAND,
) -> dict[int, Floats]:
    """Return by receivers of a box after how many ms all had heard each act; boxes repeat."""
    rng = np.random.default_rng(seed)
    found: dict[int, list[float]] = {1: [], RECEIVERS: []}
    for _ in range(halls):
        case = case_of_(rng)
        hall = draw(rng, case, receivers=RECEIVERS)
        by_remote = hall.told(remote, carried, len(ends_ms(UNTIL_MS)), rng)
        between = hall.between(REPEATER)
        for many in found:
            first = chance(by_remote[..., :many], hall.needs_mw_m2, case.lost)
            then = chance(between[..., :many], hall.needs_mw_m2, case.lost)
            for _ in range(ACTS):
                heard = Slots().heard_ms(first, then, UNTIL_MS, rng)
                found[many].append(float(heard.max()))
    return {many: np.array(times) for many, times in found.items()}


def one_worse(halls: int, seed: int) -> list[tuple[str, dict[int, float]]]:
    """Return for each range at its bad end, the others at their middle: all 24 within 3 s."""
    found = []
    for name, each in RANGES.items():
        tallies = told(_with(name), halls, seed, (CHOSEN,))
        by_many = {many: tallies[CHOSEN.name, many].all_within() for many in (1, RECEIVERS)}
        found.append((each.what, by_many))
    return found


def _with(worse: str) -> Callable[[np.random.Generator], Case]:
    return lambda rng: case_of(0, (worse,))
