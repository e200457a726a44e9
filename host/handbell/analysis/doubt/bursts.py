"""Bursts of taps: two or more that one rep was told by."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby, pairwise
from statistics import median

# Our own, from what people can do and what a contact does; no source.
SHARE = 0.4  # of the gaps beside a burst, and of the median of those between bursts


def within_bursts(times: Sequence[int], floor_ms: float) -> list[int]:
    """Return the gaps within bursts: two presses or more for one rep.

    All of a burst's gaps are much shorter than those before and after it, and than the usual one
    between bursts. Where all taps are one burst, ``floor_ms`` stands for what is between them.
    """
    gaps = [b - a for a, b in pairwise(times)]
    between = [gap for gap in gaps if gap >= floor_ms]
    most = min(floor_ms, SHARE * (median(between) if between else floor_ms))
    found: list[int] = []
    begin = 0
    for close, some in groupby(gaps, lambda gap: gap < most):
        burst = list(some)
        end = begin + len(burst)
        beside = [*gaps[max(begin - 1, 0) : begin], *gaps[end : end + 1]]
        if close and all(max(burst) < SHARE * gap for gap in beside):
            found += burst
        begin = end
    return found
