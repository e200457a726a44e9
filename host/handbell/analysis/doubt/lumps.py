"""Taps made up for in a lump, after reps that nobody tapped: their times tell nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from handbell.store.results.effort import Effort, Outcome
from handbell_core import timeline as t

# Our own, no source.
TAPS_LEAST = 5
BEGIN = 0.5  # of the window, before the first tap
SHARE = 0.4  # of the usual gap of the others
SHARE_ALONE = 0.5  # of the quickest sensible rep, where nobody else did it
OTHERS_LEAST = 2

Place = tuple[int, int, str]


@dataclass(frozen=True)
class Lump:
    """All taps of a window within ``took_ms``."""

    effort: Effort
    taps: int
    took_ms: int


def lumps(
    efforts: Iterable[Effort],
    times: Mapping[int, Sequence[int]],
    quickest: Mapping[str, float | None],
) -> list[Lump]:
    """Return the windows tapped in a lump; ``times`` by each effort's place among them.

    ``quickest`` is the least sensible time of a rep of each exercise, in ms.
    """
    some = [
        (e, times[n], _gap_ms(times[n]))
        for n, e in enumerate(efforts)
        if e.tap in (t.TAP_EACH, t.TAP_EVERY)
        and e.outcome is not Outcome.PAUSED
        and len(times[n]) >= TAPS_LEAST
    ]
    usual: dict[Place, dict[int, list[float]]] = {}
    for e, _, gap in some:
        usual.setdefault((e.block, e.item, e.name), {}).setdefault(e.bib, []).append(gap)
    found = []
    for e, taps, _ in some:
        others = [
            median(gaps) for bib, gaps in usual[e.block, e.item, e.name].items() if bib != e.bib
        ]
        alone = quickest.get(e.name)
        least = 0.0
        if len(others) >= OTHERS_LEAST:
            least = SHARE * median(others)
        elif alone is not None:
            least = SHARE_ALONE * alone * e.every
        took = taps[-1] - taps[0]
        late = taps[0] - e.start_ms >= BEGIN * (e.end_ms - e.start_ms)
        if late and took < least * (len(taps) - 1):
            found.append(Lump(e, len(taps), took))
    return found


def _gap_ms(times: Sequence[int]) -> float:
    return median(b - a for a, b in pairwise(times))
