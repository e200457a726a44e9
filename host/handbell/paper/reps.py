"""What changes from round to round, in words."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence

VALUES_MOST = 6


def ladder_words(reps: Sequence[int]) -> str:
    """Return reps that are many and go by one step, up, down or there and back, else nothing.

    In the words ``{}`` is what is counted: ``2 up to 10 {} and back, by 2``.
    """
    if len(reps) <= VALUES_MOST:
        return ""
    back = reps == reps[::-1]
    way = reps[: (len(reps) + 1) // 2] if back else reps
    steps = {b - a for a, b in itertools.pairwise(way)}
    if len(steps) != 1 or steps == {0}:
        return ""
    (step,) = steps
    words = f"{way[0]} {'up' if step > 0 else 'down'} to {way[-1]} {{}}"
    return f"{words}{' and back' if back else ''}, by {abs(step)}"


def values_words(values: Iterable[float]) -> str:
    """Return one value for all rounds, or theirs; of many the first, the top and the last."""
    found = [f"{value:g}" for value in values]
    if len(set(found)) == 1:
        return found[0]
    if len(found) > VALUES_MOST:
        top = max(range(len(found)), key=lambda n: float(found[n]))
        if 2 < top < len(found) - 2:  # up and back: say how far up
            found = [*found[:2], "...", found[top], "...", found[-1]]
        else:
            found[VALUES_MOST - 1 : -1] = ["..."]
    return ", ".join(found)
