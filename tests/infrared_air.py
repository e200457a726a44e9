"""The air of a hall: what is sent by infra-red in it, and what of it each box gets to see."""

from __future__ import annotations

import random
from collections.abc import Iterable

from handbell.virtual.box import VirtualBox
from handbell_core.bursts_out import lasts_us, write

Light = tuple[int, int]
"""World times in microseconds at which it is lit from and to."""


class Air:
    """Collects what is sent and carries it to boxes; the same seed, the same trouble.

    A share ``loss`` of the telegrams doesn't come to a box; of those that do, each edge is up to
    ``jitter_us`` early or late, and the whole is ``delay_us`` late. All may be changed at any time.
    """

    def __init__(self, boxes: Iterable[VirtualBox], seed: int = 0) -> None:
        self.loss = 0.0
        self.jitter_us = 0
        self.delay_us = 0
        self._boxes = list(boxes)
        self._chance = random.Random(seed)
        self._light: dict[str, list[Light]] = {box.name: [] for box in self._boxes}

    def send(self, data: bytes, ends_us: int) -> None:
        """Sends a telegram so that it ends at a world time."""
        light = telegram_light(data, ends_us)
        for box in self._boxes:
            if self._chance.random() >= self.loss:
                self._light[box.name] += [self._seen(span) for span in light]

    def noise(self, from_us: int, to_us: int, a_second: float) -> None:
        """Flickers of 0.2 to 1.2 ms that mean nothing, so many a second, other ones at each box."""
        for box in self._boxes:
            at_us = from_us + self._chance.expovariate(a_second) * 1e6
            while at_us < to_us:
                lit_us = self._chance.randint(200, 1_200)
                self._light[box.name].append((round(at_us), round(at_us) + lit_us))
                at_us += lit_us + self._chance.expovariate(a_second) * 1e6

    def shine(self, light: Iterable[Light]) -> None:
        """Any other light, as it is, such as another remote's."""
        spans = list(light)
        for box in self._boxes:
            self._light[box.name] += spans

    def carry(self) -> None:
        """Shows the boxes all that was sent since the last time; where two shine, it is lit."""
        for box in self._boxes:
            light, self._light[box.name] = self._light[box.name], []
            box.see(merged(light))

    def _seen(self, span: Light) -> Light:
        begin_us, end_us = (
            at_us + self.delay_us + self._chance.randint(-self.jitter_us, self.jitter_us)
            for at_us in span
        )
        return begin_us, end_us


def telegram_light(data: bytes, ends_us: int) -> list[Light]:
    """The bursts of a telegram that ends at a world time."""
    cycles, begin = write(data), ends_us - lasts_us(data)
    out, at = [], 0
    for n in range(0, len(cycles), 2):
        out.append((begin + at * 500 // 19, begin + (at + cycles[n]) * 500 // 19))
        at += cycles[n] + cycles[n + 1]
    return out


def merged(light: Iterable[Light]) -> list[Light]:
    """The same light in order, what touches or overlaps as one."""
    out: list[Light] = []
    for begin_us, end_us in sorted(light):
        if out and begin_us <= out[-1][1]:
            out[-1] = out[-1][0], max(out[-1][1], end_us)
        else:
            out.append((begin_us, end_us))
    return out
