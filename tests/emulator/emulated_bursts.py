"""Telegrams shown to an emulated box that does nothing but hear them and write to its flash."""

from __future__ import annotations

import random
from pathlib import Path
from typing import NamedTuple

from air import WORST_US, Chance, edges, foreign, noise
from emulated_box import EmulatedBox, file_system
from emulated_parts import ERASE_US, SLOWEST_ERASE_US

from handbell_core.bursts import SIZE
from handbell_core.bursts_out import lasts_us

FIRST_US = 3_400_000  # the first telegram begins so long after power; the box is ready before
EMITTER_PIN = 19
DONE = b"\nDONE"

# It never sleeps, since the emulated PIO sleeps with the core.
PROGRAM = b"""
import gc
gc.threshold(8192)
import time
import boards.pico as board
import box.app
app = box.app.App(board)
def live():
    gc.collect()
    return gc.mem_alloc()
live()
before = live()
from box.hearing import Hearing
now, diff = time.ticks_us, time.ticks_diff
told = []
def heard(data, tick):
    told.append((data, tick, now()))
hearing = Hearing(board.edges(), heard)
print("HEAP", live() - before)
sender = board.sender()
sent = bytes(range(100, 116))
print("SENT", sender.send(sent), now())
f = open("writes", "ab")
longest = spent = 0
gc.threshold(-1)
gc.collect()
wrote = end = now()
while diff(now(), end) < %d:
    tick = now()
    if hearing.due_us(tick) == 0:
        hearing.take(tick)
        took = diff(now(), tick)
        spent += took
        longest = max(longest, took)
    if diff(tick, wrote) > 700000:
        f.write(bytes(600))
        f.flush()
        wrote = now()
        print("WROTE", tick, wrote)
    while told:
        data, tick, at = told.pop(0)
        print("HEARD", data.hex(), tick, at)
print("TOOK", longest, spent, hearing.lost)
print("DONE")
"""


class Heard(NamedTuple):
    """A telegram: in the chip's ticks when it ended and when it was told."""

    data: bytes
    ended: int
    told: int


class Shown:
    """What the box was shown and what it said of it; ``ends_us`` is emulated time by telegram."""

    def __init__(self, image: Path, firmware: Path, count: int, seed: int = 1) -> None:
        self.ends_us: dict[bytes, float] = {}
        chance = random.Random(seed)
        at_us, shown = float(FIRST_US), []

        def show(sequence: list[tuple[bool, int]]) -> None:
            nonlocal at_us
            for lit, us in sequence:
                at_us += us
                shown.append((at_us, lit))

        junk = Chance(seed)
        for number in range(count):
            show([*noise(junk, 2 * chance.randrange(12))] if number % 2 else foreign(junk))
            data = chance.randbytes(SIZE)
            begin_us = at_us + 5_000
            show(edges(data, 5_000, lambda: chance.randint(-WORST_US, WORST_US)))
            self.ends_us[data] = begin_us + lasts_us(data)
        most_us = at_us - FIRST_US + 1_500_000
        files = file_system(firmware, {"main.py": PROGRAM % most_us})
        self.box = box = EmulatedBox(image, files)
        box.receiver.show(shown)
        self.carrier: list[float] = []  # when the emitter's pin rose
        box.listen(EMITTER_PIN, self.carrier)
        self._slow_us = 0.0
        box.flash.cuts = self._before
        box.run_until(lambda: DONE in box.heard, most_us + FIRST_US + 1_000_000)
        self.said = [line.split() for line in box.heard.decode(errors="replace").splitlines()]

    def _before(self, number: int, op: int) -> bool:
        """Let one erase a write take as long as one may."""
        now_us = self.box.now_us
        if op in ERASE_US and now_us > FIRST_US and now_us - self._slow_us > 800_000:
            self._slow_us = now_us
            self.box.flash.stalls_us = [SLOWEST_ERASE_US]
        return False

    def lines(self, what: str) -> list[list[str]]:
        """Return the words of all lines that begin with ``what``, without it."""
        return [words[1:] for words in self.said if words[:1] == [what]]

    def heard(self) -> list[Heard]:
        """Return what the box heard, in order."""
        return [Heard(bytes.fromhex(a), int(b), int(c)) for a, b, c in self.lines("HEARD")]

    def writes(self) -> list[tuple[int, int]]:
        """Return begin and end of every write, in the chip's ticks."""
        return [(int(a), int(b)) for a, b in self.lines("WROTE")]
