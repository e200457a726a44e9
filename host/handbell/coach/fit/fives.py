"""Times that people can read at a glance: whole fives of seconds wherever the slot still holds."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from .levers import Lever

FIVE_MS = 5_000
DEAR = ("windows", "rounds")  # these stay as the smallest moves have them


def odd(lever: Lever, by: int) -> bool:
    """Return whether a lever that is moved so far leaves a time that is no whole fives."""
    if lever.level == "rounds" or not by:
        return False
    return any((value + by) % FIVE_MS for site in lever.sites for value in site.values)


def odd_ones(moves: Mapping[Lever, int]) -> int:
    """Return how many of some moves leave a time that is no whole fives of seconds."""
    return sum(odd(lever, by) for lever, by in moves.items())


def around(levers: Iterable[Lever], moves: Mapping[Lever, int]) -> Iterator[Lever]:
    """Yield levers that may move near to the smallest moves, so that times become whole fives.

    What those leave alone stays, and so do windows and rounds. Breaks move as far as they may, and
    all else by less than 5 s more or less; a rest that gets shorter gets no shorter than there.
    """
    levels = {lever.level for lever in moves}
    for lever in levers:
        at = moves.get(lever, 0)
        by = lever.by
        if lever.level in DEAR or lever.level not in levels:
            by = (at,)
        elif lever.level != "breaks":
            by = tuple(b for b in by if abs(b - at) < FIVE_MS and (at >= 0 or b >= at))
        if by and by != (0,):  # none are near where a lever changes nothing and isn't in the moves
            yield replace(lever, by=by)
