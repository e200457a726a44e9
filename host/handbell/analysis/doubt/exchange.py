"""Two bibs that two people exchanged, for a class or a block: how much likelier it is than not.

Each window is held against the own usual one and against the other's, as a likelihood ratio: errors
of windows are normal, and so is that of a day, which all of somebody's windows share. Who is alike
can't be told apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import log
from statistics import median

from handbell.base.robust import spread
from handbell.store.results.effort import Effort
from handbell_core import timeline as t

from ..past.history import Attended, PastClass, classes_of
from .paces import CLASSES_LEAST, CLASSES_MOST

# Our own, no source; set on seasons other than those on the page, docs/engineers/analysis.md.
LIKELIER = 12.0  # the least logarithm of the ratio: pairs are many, and classes
WINDOW_NOISE = 0.08  # at least, of a logarithm
DAY_NOISE = 0.06
CLIP = 3.0  # times its noise: a window further off tells no more
DAY_MOST = 5.0
WINDOWS_LEAST = 3
SEEN_LEAST = 2  # classes in which a window was done before
WHOLE, NO_BLOCK = 0, -1  # in place of a block

Key = tuple[int, str, int, int, int, int, int, str]  # its block first


@dataclass(frozen=True)
class Exchange:
    """Two bibs; ``block`` is WHOLE for all of the class. ``likelier`` is a logarithm of a ratio."""

    bibs: tuple[int, int]
    block: int
    likelier: float


@dataclass(frozen=True)
class Usual:
    """Somebody's windows of today and the usual ones, as logarithms, and what they vary by."""

    bib: int
    now: Mapping[Key, float]
    usual: Mapping[Key, float]
    noise: float
    classes: int


def exchanges(
    past: PastClass, before: Sequence[PastClass], days: Mapping[int, float]
) -> list[Exchange]:
    """Return the pairs that look exchanged, each bib in one, the likeliest first.

    ``days`` says by bib how far the others are from their usual today.
    """
    some = [one for who in past.people if who.there and (one := _usual(who, before)) is not None]
    found = [pair for one, other in combinations(some, 2) for pair in _pairs(one, other, days)]
    found.sort(key=lambda pair: (-pair.likelier, pair.bibs))
    taken: set[int] = set()
    kept = []
    for pair in found:
        if not taken & set(pair.bibs):
            taken |= set(pair.bibs)
            kept.append(pair)
    return kept


def _usual(who: Attended, before: Sequence[PastClass]) -> Usual | None:
    last = [then for _, then in classes_of(before, who.person.key)][-CLASSES_MOST:]
    if len(last) < CLASSES_LEAST:
        return None
    then: dict[Key, list[float]] = {}
    for one in last:
        for key, value in _windows(one.efforts).items():
            then.setdefault(key, []).append(value)
    known = {key: values for key, values in then.items() if len(values) >= SEEN_LEAST}
    usual = {key: median(values) for key, values in known.items()}
    off = [value - usual[key] for key, values in known.items() for value in values]
    noise = max(spread(off), WINDOW_NOISE) if off else WINDOW_NOISE
    return Usual(who.bib, _windows(who.efforts), usual, noise, len(last))


def _windows(efforts: Sequence[Effort]) -> dict[Key, float]:
    """Return how quick somebody was in each window, as a logarithm: by the gaps, else the rate."""
    found = {}
    for e in efforts:
        kept = e.ask == t.ASK_HOLD and e.drop_ms is None  # to its end: that has no measure
        value, kind = (1 / e.gap_ms, "gap") if e.gap_ms else (e.rate, "rate")
        if value and e.rate is not None and not kept:
            key = e.block, e.name, e.ask, e.tap, e.goal, e.end_ms - e.start_ms, e.round, kind
            found[key] = log(value)
    return found


def _pairs(one: Usual, other: Usual, days: Mapping[int, float]) -> Iterator[Exchange]:
    common = [k for k in one.now if k in other.now and k in one.usual and k in other.usual]
    blocks = sorted({key[0] for key in common})
    as_is = _likelihood(one, other, days, common, NO_BLOCK)
    for block in (WHOLE, *(blocks if len(blocks) > 1 else ())):
        if sum(block in (WHOLE, key[0]) for key in common) >= WINDOWS_LEAST:
            likelier = _likelihood(one, other, days, common, block) - as_is
            if likelier >= LIKELIER:
                yield Exchange((one.bib, other.bib), block, likelier)


def _likelihood(
    one: Usual, other: Usual, days: Mapping[int, float], keys: Sequence[Key], block: int
) -> float:
    """Return the log likelihood of both, with those of ``block`` exchanged."""
    known = 1 + 1 / min(one.classes, other.classes)  # the usual ones are not known exactly
    window = max(one.noise, other.noise) ** 2 * known
    day = DAY_NOISE**2 * known
    total = 0.0
    for me, you in ((one, other), (other, one)):
        off = [
            me.now[key]
            - (you if block in (WHOLE, key[0]) else me).usual[key]
            - days.get(me.bib, 0.0)
            for key in keys
        ]
        today = sum(off) * day / (window + len(off) * day)
        total -= 0.5 * sum(min((x - today) ** 2 / window, CLIP**2) for x in off)
        total -= 0.5 * min(today**2 / day, DAY_MOST**2)
    return total
