"""From light to telegrams, and from telegrams to an act that all boxes have heard."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, erf

import numpy as np

from handbell_core.bursts import BURST, CARRIER_HZ, DARK, LEAST, START, STEP, SYMBOLS
from handbell_core.slots import AGAIN_MS, TOLD_MS
from hardware.infrared.light import Floats

SOFT_DB = 1.0  # at the least light half the telegrams come; 1 dB more or less is 1 sigma, assumed
WITHIN_MS = 3_000

SHORTEST_MS = (START + SYMBOLS * LEAST) * 1000 / CARRIER_HZ
LONGEST_MS = (START + SYMBOLS * (LEAST + 3 * STEP)) * 1000 / CARRIER_HZ
MEAN_MS = (SHORTEST_MS + LONGEST_MS) / 2
DARK_MS = (BURST + DARK) * 1000 / CARRIER_HZ
CLOCK_MS = 20.0  # how far off a clock that is armed may be
SLOT_MS = ceil((LONGEST_MS + DARK_MS + 2 * CLOCK_MS) / 10) * 10.0
_TABLE_DB = np.linspace(-6, 6, 241)
_TABLE = np.array([(1 + erf(db / SOFT_DB / 2**0.5)) / 2 for db in _TABLE_DB])


def chance(mw_m2: Floats, needs_mw_m2: Floats, lost: float) -> Floats:
    """Return the chance that a telegram comes through, by what the best receiver of a box gets."""
    db = 10 * np.log10(np.maximum(mw_m2.max(axis=-1), 1e-12) / needs_mw_m2)
    return np.asarray((1 - lost) * np.interp(db, _TABLE_DB, _TABLE))


def told_ms() -> Iterator[float]:
    """Yield when each telegram of an act has ended, after the button, the longest ones."""
    yield from (ms + LONGEST_MS for ms in TOLD_MS)
    ms = TOLD_MS[-1]
    while True:
        ms += AGAIN_MS
        yield ms + LONGEST_MS


def ends_ms(until_ms: float) -> list[float]:
    """Return the ends of the telegrams that have ended by then."""
    found: list[float] = []
    for ms in told_ms():
        if ms > until_ms:
            return found
        found.append(ms)
    return found


def all_heard(chances: Floats, boxes: int) -> float:
    """Return the chance that so many boxes have all heard one of the telegrams, by telegram."""
    return float(np.prod(1 - np.prod(1 - chances[:, :boxes], axis=0)))


@dataclass(frozen=True)
class Slots:
    """Who tells when: the class's run time is cut into slots, so nobody talks into another's.

    From an act on every third slot is the remote's, for as many telegrams as there are chances of.
    The others go round the boxes in an order that the act's number turns. A box that has heard the
    act tells it in its slots, ``times`` over.
    """

    slot_ms: float = SLOT_MS
    boxes: int = 24
    times: int = 2

    def heard_ms(
        self, by_remote: Floats, between: Floats, until_ms: float, rng: np.random.Generator
    ) -> Floats:
        """Return when each box first heard of one act, inf if it had not by ``until_ms``.

        ``by_remote`` are chances by telegram and box, ``between`` by telling and hearing box.
        """
        heard = np.full(self.boxes, np.inf)
        left = np.full(self.boxes, self.times)
        order = rng.permutation(self.boxes)
        turn = remote = 0
        slot = 0
        wait_ms = rng.uniform(0, self.slot_ms)  # from the button to the first slot that begins
        while (end_ms := wait_ms + slot * self.slot_ms + LONGEST_MS) <= until_ms:
            if slot % 3 == 0 and remote < len(by_remote):
                got = rng.random(self.boxes) < by_remote[remote]
                remote += 1
            else:
                teller = order[turn % self.boxes]
                turn += 1
                got = np.zeros(self.boxes, dtype=bool)
                if heard[teller] < end_ms and left[teller]:
                    left[teller] -= 1
                    got = rng.random(self.boxes) < between[teller]
            heard[got & ~np.isfinite(heard)] = end_ms
            slot += 1
        return heard
