"""Suspicious data, planted: what goes wrong with buttons, boxes and bibs on a floor."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from handbell.store.logs.timelines import Timeline, Window
from handbell_core import timeline as t

Presses = list[tuple[float, int, float]]  # class_ms, slot, held ms
Change = Callable[[Presses, Timeline], Presses]


@dataclass(frozen=True)
class Oddity:
    """Something planted in one class; ``lane`` counts from 0, ``wears`` says whose body a bib has.

    ``slower`` is by how much longer everybody takes that day.
    """

    name: str
    week: int
    lane: int
    bibs: tuple[int, ...] = ()
    change: Change | None = None
    wears: Mapping[int, int] = field(default_factory=dict)
    slower: float = 1.0


def plant(kinds: Mapping[int, str], each: int, rng: random.Random) -> list[Oddity]:
    """Return one of each sort, in weeks 5 to 10; ``kinds`` by bib, ``each`` bibs a lane."""
    steady = [bib for bib, kind in kinds.items() if kind == "steady"]
    weak = [bib for bib, kind in kinds.items() if kind == "struggler"]
    fast, twice, one = rng.sample(steady, 3)
    other = next(b for b in kinds if (b - 1) // each == (one - 1) // each and b != one)
    strong = rng.choice([b for b in steady if b not in (fast, twice)])
    slow = rng.choice(weak)

    def lane(bib: int) -> int:
        return (bib - 1) // each

    return [
        Oddity("too-fast", 4, lane(fast), (fast,), _burst((fast - 1) % each)),
        Oddity("double-press", 5, lane(twice), (twice,), _twice((twice - 1) % each, rng)),
        Oddity(
            "tapped-for-two",
            6,
            lane(one),
            (one, other),
            _for_two((one - 1) % each, (other - 1) % each, rng),
        ),
        Oddity("exchanged", 7, lane(strong), (strong, slow), None, {strong: slow, slow: strong}),
        Oddity("left-counting", 8, lane(twice), (twice,), _swinging((twice - 1) % each, rng)),
        Oddity("outside-windows", 9, lane(fast), (fast,), _between((fast - 1) % each, rng)),
        Oddity("clock-lost", 10, lane(slow)),
    ]


def _windows(timeline: Timeline, *asks: int) -> list[Window]:
    return [w for w in timeline.windows.values() if w.ask in asks and w.tap == t.TAP_EACH]


def _inside(press: tuple[float, int, float], window: Window) -> bool:
    return window.start_ms <= press[0] < window.end_ms


def _burst(slot: int) -> Change:
    """Ten taps in a row at the window's start, to have it over with."""

    def change(presses: Presses, timeline: Timeline) -> Presses:
        window = _windows(timeline, t.ASK_TARGET)[0]
        kept = [p for p in presses if not (p[1] == slot and _inside(p, window))]
        return kept + [(window.start_ms + 900.0 + 260 * n, slot, 90.0) for n in range(window.goal)]

    return change


def _twice(slot: int, rng: random.Random) -> Change:
    """A worn button that makes one press in eight two."""

    def change(presses: Presses, timeline: Timeline) -> Presses:
        own = [p for p in presses if p[1] == slot and rng.random() < 0.125]
        return presses + [(at + rng.uniform(210, 330), slot, 90.0) for at, _, _ in own]

    return change


def _for_two(one: int, other: int, rng: random.Random) -> Change:
    """One person presses both buttons, the second a moment after the first."""

    def change(presses: Presses, timeline: Timeline) -> Presses:
        kept = [p for p in presses if p[1] != other]
        mine = [p for p in presses if p[1] == one]
        return kept + [(at + rng.gauss(190, 35), other, held) for at, _, held in mine]

    return change


def _swinging(slot: int, rng: random.Random) -> Change:
    """A rope's end knocks on the button for a minute and a half, break or not."""

    def change(presses: Presses, timeline: Timeline) -> Presses:
        at, knocks = timeline.windows[6].start_ms + 700.0, []
        while len(knocks) < 60:
            knocks.append((at, slot, 110.0))
            at += rng.gauss(1_450, 25)
        kept = [p for p in presses if p[1] != slot or not knocks[0][0] <= p[0] <= at]
        return kept + knocks

    return change


def _between(slot: int, rng: random.Random) -> Change:
    """Somebody plays with the button in the rests."""

    def change(presses: Presses, timeline: Timeline) -> Presses:
        ends = [w.end_ms for w in timeline.windows.values()][:4]
        return presses + [
            (end + 3_000 + rng.uniform(500, 1_500) * n, slot, 100.0)
            for end in ends
            for n in (1, 2, 3)
        ]

    return change
