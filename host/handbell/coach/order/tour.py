"""The shortest way round all stations, for groups that go one after another."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations, pairwise

Ways = Mapping[tuple[int, int], int]
PROVED_MOST = 10  # stations; for so many the shortest way is found, for more a short one


def tour(ways: Ways, count: int) -> tuple[int, ...]:
    """Return stations 0 to ``count`` in the order of a short way round, from 0 and back to it."""
    return _shortest(ways, count) if count <= PROVED_MOST else _untwisted(ways, count)


def _shortest(ways: Ways, count: int) -> tuple[int, ...]:
    """Return the shortest: for each set of stations and its last, the shortest way there."""
    best: dict[tuple[frozenset[int], int], tuple[int, tuple[int, ...]]] = {
        (frozenset((0,)), 0): (0, (0,))
    }
    for size in range(1, count):
        for others in combinations(range(1, count), size):
            there = frozenset((0, *others))
            for last in others:
                before = there - {last}
                best[there, last] = min(
                    (length + ways[end, last], (*way, last))
                    for (seen, end), (length, way) in _ending(best, before)
                )
    ends = _ending(best, frozenset(range(count)))
    return min((length + ways.get((end, 0), 0), way) for (_, end), (length, way) in ends)[1]


def _ending(
    best: Mapping[tuple[frozenset[int], int], tuple[int, tuple[int, ...]]], there: frozenset[int]
) -> list[tuple[tuple[frozenset[int], int], tuple[int, tuple[int, ...]]]]:
    return [((there, end), best[there, end]) for end in sorted(there) if (there, end) in best]


def _untwisted(ways: Ways, count: int) -> tuple[int, ...]:
    """Return a way round in which no two of its parts are shorter when one is turned about."""
    way = tuple(range(count))
    while True:
        turned = (
            (*way[:a], *reversed(way[a:b]), *way[b:])
            for a, b in combinations(range(1, count + 1), 2)
        )
        shorter = min(turned, key=lambda one: _length(ways, one))
        if _length(ways, shorter) >= _length(ways, way):
            return way
        way = shorter


def _length(ways: Ways, way: tuple[int, ...]) -> int:
    return sum(ways[pair] for pair in pairwise((*way, way[0])))
