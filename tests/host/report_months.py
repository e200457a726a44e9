"""Months of made-up classes with known truth, for the reports on athletes and the group."""

import random

import classes
from classes import Piece

from handbell.store import Store
from handbell.store.people.wearers import set_wearers
from handbell_core import timeline as t

DAY_MS = 86_400_000
FIRST_MS = classes.START_UTC_MS - 12 * 7 * DAY_MS
PIECES = (
    (
        Piece("Rope skips", 30),
        Piece("Push-up", 30, t.ASK_TARGET, goal=10),
        Piece("Front plank", 30, t.ASK_HOLD, t.TAP_DROP),
    ),
)
NAMES = {1: "Ada", 2: "Bo", 3: "Cleo", 4: "Dario"}
# By how much each gets stronger from class to class, and how hard they call the first and last.
TRUTH = {1: (0.012, 6, 6), 2: (-0.012, 5, 9), 3: (0.0, 6, 6), 4: (0.0, 5, 5)}


def strength_of(bib: int, n: int) -> float:
    """Return how strong somebody is in the n-th class."""
    return 0.95 * (1 + TRUTH[(bib - 1) % 4 + 1][0] * n)


def rating_of(bib: int, share: float) -> int:
    """Return how hard somebody calls a class, a share of the way through the months."""
    _, first, last = TRUTH[(bib - 1) % 4 + 1]
    return round(first + (last - first) * share)


def fill(
    store: Store,
    weeks=12,
    names=NAMES,
    boxes=2,
    a_week=2,
    pieces=PIECES,
    first_ms=FIRST_MS,
    seed=5,
) -> None:
    """Put weeks of classes into a store, two bibs a box; bib 4 comes only in the first three."""
    rng = random.Random(seed)
    count = weeks * a_week
    for n in range(count):
        days = 7 * (n // a_week) + 3 * (n % a_week)
        start_ms = first_ms + days * DAY_MS
        gone = {bib for bib in range(1, 2 * boxes + 1) if bib % 4 == 0 and n >= 3}
        class_id = None
        for box in range(boxes):
            bibs = (2 * box + 1, 2 * box + 2)
            data = classes.timeline(pieces, bibs, box + 1, 2, who=f"Lane {'ABCDEFGHIJ'[box]}")
            presses = []
            for slot, bib in enumerate(bibs):
                if bib in gone:
                    continue
                some = classes.presses_of(rng, data, slot, strength_of(bib, n))
                presses += _rated(some, data, slot, rating_of(bib, n / max(count - 1, 1)))
            run = classes.play(data, presses, start_ms)
            store.put_timeline(data)
            got = store.ingest(run.journal, classes.BOX_IDS[box], (start_ms + 3_600_000) * 1000)
            class_id = got.class_id
        worn = {bib: name for bib, name in names.items() if bib <= 2 * boxes}
        set_wearers(store, class_id, worn, gone)


def _rated(presses, data: bytes, slot: int, rating: int):
    """Return the presses with the answer after class replaced."""
    end_ms = max(s.end_ms() for s in classes.windows_of(data))
    kept = [p for p in presses if p.at_ms < end_ms]
    at = end_ms + 2_000
    return kept + [classes.Press(at + 400 * k, slot) for k in range(rating)]
