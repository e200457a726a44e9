"""Well-formed frames of random bits, and noise, through reader and check: none may be taken.

soak_bursts.py [--frames 1000000] [--noises 1000000] [--seed 1]. The check has 32 bits, so of a
million frames that nobody meant 0.0002 are taken.
"""

from __future__ import annotations

import argparse
import random
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / "firmware"), str(Path(__file__).parent / "both")]

from air import edges  # noqa: E402

from handbell_core.bursts import LEAST, LONG_BURST, SIZE, START, STEP, SYMBOLS, Reader  # noqa: E402
from handbell_core.telegram import KEY_SIZE, PLAN_SIZE, unpack  # noqa: E402

OFF_US = 100


def us(cycles: float) -> int:
    return round(cycles * 500 / 19)


class Soak:
    """Counts what a reader found (``read``) and what the check let through (``taken``)."""

    def __init__(self, seed: int) -> None:
        self._chance = random.Random(seed)
        self._reader = Reader()
        self._key = self._chance.randbytes(KEY_SIZE)
        self._plan = self._chance.randbytes(12)
        self.read = self.taken = 0

    def _hear(self, lit: bool, after_us: int) -> None:
        if self._reader.edge(lit, after_us):
            self.read += 1
            data = bytes(self._reader.data)
            if unpack(self._key, self._plan, data, 0) is not None:
                self.taken += 1

    def frames(self, count: int) -> None:
        """Frames as a sender makes them, of this class's plan, with a check of random bits."""
        chance = self._chance
        for _ in range(count):
            data = self._plan[:PLAN_SIZE] + chance.randbytes(SIZE - PLAN_SIZE)
            for lit, after_us in edges(data, off=lambda: chance.randint(-OFF_US, OFF_US)):
                self._hear(lit, after_us)

    def noises(self, count: int) -> None:
        """As many edges as a frame, most like one: from a right begin to mere junk."""
        random_ = self._chance.random
        # Often enough within bounds to come to the end now and then, never meant to.
        for _ in range(count):
            wild = random_() ** 4  # how far from a frame
            self._hear(True, int(random_() * 50_000))
            head_us = us(LONG_BURST)
            self._hear(False, head_us)
            self._hear(True, us(START) - head_us + int((random_() - 0.5) * 700))
            for _ in range(SYMBOLS):
                lit_us = int(180 + random_() * (400 + 700 * wild))
                self._hear(False, lit_us)
                whole_us = us(LEAST - STEP / 2) + int(random_() * us(4 * STEP) * (1 + wild))
                self._hear(True, max(1, whole_us - lit_us))
            self._hear(False, us(16))


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--frames", type=int, default=1_000_000)
    options.add_argument("--noises", type=int, default=1_000_000)
    options.add_argument("--seed", type=int, default=1)
    asked = options.parse_args()
    soak = Soak(asked.seed)
    soak.frames(asked.frames)
    print(f"{asked.frames} frames of random bits: {soak.read} read, {soak.taken} taken")
    before = soak.read
    soak.noises(asked.noises)
    print(f"{asked.noises} noises: {soak.read - before} read, {soak.taken} taken in all")
    return 1 if soak.taken else 0


if __name__ == "__main__":
    raise SystemExit(main())
