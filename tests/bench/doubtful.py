"""Doubtful data of every kind, planted in half the windows of a class: what is there to be found.

Each is what happens on a floor: a button that tells presses twice, taps made up for at the end, one
person who presses for two, bibs exchanged, and a day on which everybody is slower.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping

from oddities import Change, Oddity, Presses

from handbell.store.logs.timelines import Timeline, Window
from handbell_core import timeline as t

SHARES = (0.12, 0.25, 0.5, 0.75, 1.0)  # of the presses in a window
LAGS_MS = ((60, 400), (400, 800), (800, 1_400), (1_400, 2_000))
JITTER_MS = 35
LUMPS_MS = ((2_500, 3_500), (3_500, 6_000))
SLOWER = 1.4
APART = 1.3  # of two who exchange bibs: alike they can't be told apart
DOUBLED, LUMPED, FOR_TWO, BLOCK, CLASS, SLOW = (
    "doubled", "lumped at the end", "one for two", "exchanged for a block",
    "exchanged for a class", "whole group slower",
)  # fmt: skip


def planted(paces: Mapping[int, float], each: int, rng: random.Random) -> list[Oddity]:
    """Return one of each kind, each to another lane of a class; ``paces`` are how slow bibs are."""
    lanes = list(range(len(paces) // each))
    found = []
    rng.shuffle(lanes)
    for lane, share in zip(lanes, SHARES, strict=True):
        slot = rng.randrange(each)
        name = f"{DOUBLED}, {100 * share:.0f} % of presses"
        found.append(Oddity(name, 4, lane, (_bib(lane, slot, each),), _twice(slot, share, rng)))
    rng.shuffle(lanes)
    slot = rng.randrange(each)
    bibs = (_bib(lanes[0], slot, each),)
    for week, (least, most) in zip((6, 8), LUMPS_MS, strict=True):
        name = f"{LUMPED}, in {least / 1000:.1f} to {most / 1000:.1f} s"
        lump_ms = rng.uniform(least, most)
        found.append(Oddity(name, week, lanes[0], bibs, _lumped(slot, lump_ms, rng)))
    for lane, (least, most) in zip(lanes[1:], LAGS_MS, strict=True):
        one, other = rng.sample(range(each), 2)
        name = f"{FOR_TWO}, {least / 1000:.1f} to {most / 1000:.1f} s later"
        bibs = _bib(lane, one, each), _bib(lane, other, each)
        lag_ms = rng.uniform(least, most)
        found.append(Oddity(name, 6, lane, bibs, _for_two(one, other, lag_ms, rng)))
    found += _exchanged(paces, each, lanes[0], rng)
    found.append(Oddity(SLOW, 10, 0, (), None, {}, SLOWER))
    return found


def _exchanged(
    paces: Mapping[int, float], each: int, taken: int, rng: random.Random
) -> Iterator[Oddity]:
    """Two of a lane who differ, in two lanes: one pair for a block, one for the class."""
    lanes = [lane for lane in range(len(paces) // each) if lane != taken]
    rng.shuffle(lanes)
    kinds = [BLOCK, CLASS]
    for lane in lanes:
        bibs = range(lane * each + 1, (lane + 1) * each + 1)
        pairs = [
            (a, b)
            for a in bibs
            for b in bibs
            if a < b and max(paces[a], paces[b]) >= APART * min(paces[a], paces[b])
        ]
        if pairs and kinds:
            a, b = rng.choice(pairs)
            kind = kinds.pop(0)
            if kind == CLASS:
                yield Oddity(kind, 8, lane, (a, b), None, {a: b, b: a})
            else:
                one, other = (a - 1) % each, (b - 1) % each
                yield Oddity(kind, 8, lane, (a, b), _swap(one, other, rng.randint(1, 2)))


def _bib(lane: int, slot: int, each: int) -> int:
    return lane * each + slot + 1


def _half(timeline: Timeline, rng: random.Random) -> list[Window]:
    """Return half of the windows that are counted tap by tap."""
    some = [w for w in timeline.windows.values() if w.tap == t.TAP_EACH]
    return rng.sample(some, len(some) // 2)


def _inside(press: tuple[float, int, float], window: Window) -> bool:
    return window.start_ms <= press[0] < window.end_ms


def _twice(slot: int, share: float, rng: random.Random) -> Change:
    def change(presses: Presses, timeline: Timeline) -> Presses:
        more = []
        for window in _half(timeline, rng):
            own = [p for p in presses if p[1] == slot and _inside(p, window)]
            for at, _, _ in rng.sample(own, max(1, round(share * len(own))) if own else 0):
                more.append((at + rng.uniform(120, 350), slot, 90.0))
        return presses + more

    return change


def _lumped(slot: int, lump_ms: float, rng: random.Random) -> Change:
    """The reps are done, and their taps made up for in the last seconds of the window."""

    def change(presses: Presses, timeline: Timeline) -> Presses:
        kept = list(presses)
        for window in _half(timeline, rng):
            own = [p for p in kept if p[1] == slot and _inside(p, window)]
            kept = [p for p in kept if p not in own]
            gap_ms = (lump_ms - 300) / max(len(own), 1)
            for n in range(len(own)):
                at = window.end_ms - lump_ms + gap_ms * n + rng.gauss(0, 25)
                kept.append((at, slot, 90.0))
        return kept

    return change


def _for_two(one: int, other: int, lag_ms: float, rng: random.Random) -> Change:
    def change(presses: Presses, timeline: Timeline) -> Presses:
        kept = list(presses)
        for window in _half(timeline, rng):
            mine = [p for p in kept if p[1] == one and _inside(p, window)]
            kept = [p for p in kept if not (p[1] == other and _inside(p, window))]
            for at, _, held in mine:
                then = at + lag_ms + rng.gauss(0, JITTER_MS)
                if then < window.end_ms:
                    kept.append((then, other, held))
        return kept

    return change


def _swap(one: int, other: int, block: int) -> Change:
    """Two press each other's buttons for a block."""
    to = {one: other, other: one}

    def change(presses: Presses, timeline: Timeline) -> Presses:
        own = [w for w in timeline.windows.values() if w.block == block]
        return [
            (p[0], to.get(p[1], p[1]), p[2]) if any(_inside(p, w) for w in own) else p
            for p in presses
        ]

    return change
