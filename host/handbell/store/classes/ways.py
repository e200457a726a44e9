"""Putting one box's logs into classes in their order: all ways to place as many as possible."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from functools import cache

Rows = Sequence[Sequence[bool]]
State = tuple[int, frozenset[int], bool]


def ways(
    fits: Rows,
    went_on: Rows,
    again: Sequence[bool],
    before: Rows,
    loose: Collection[int],
) -> list[tuple[list[int], bool]]:
    """Return, for each of a box's logs, in which classes it is when as many as can be are placed.

    ``fits`` says for each log of which classes it may be, ``went_on`` of which it may be the rest,
    ``again`` whether it may be the rest of what the log before it began. ``before`` says which
    classes were surely before which; ``loose`` are those whose time is not known. Besides, for each
    whether it is in the same class in every way of doing that, and the rest of none.
    """
    rows = len(fits)

    def moves(row: int, state: State) -> list[tuple[int | None, bool]]:
        """Return where a log can go, and if as a rest; the one before is in ``last`` if held."""
        last, used, held = state
        after = [c for c in range(len(before)) if last < 0 or not before[c][last]]
        there: list[tuple[int | None, bool]] = [(None, False)]
        there += [(c, False) for c in after if c != last and c not in used and fits[row][c]]
        there += [(c, True) for c in after if went_on[row][c]]
        if held and again[row] and fits[row][last]:
            there.append((last, True))
        return there

    def to(state: State, place: int | None) -> State:
        last, used, _ = state
        if place is None:
            return last, used, False
        among = {place} if place in loose else set()
        return place, frozenset(among | {p for p in used if not before[p][place]}), True

    @cache
    def most(row: int, state: State) -> int:
        """Return how many logs can be placed from a row on."""
        if row == rows:
            return 0
        return max(
            (place is not None) + most(row + 1, to(state, place)) for place, _ in moves(row, state)
        )

    found = []
    states: set[State] = {(-1, frozenset(), False)}  # before each row, on the best ways
    for row in range(rows):
        there: set[tuple[int | None, bool]] = set()
        after = set()
        for state in states:
            best = most(row, state)
            for place, rest in moves(row, state):
                next_ = to(state, place)
                if (place is not None) + most(row + 1, next_) == best:
                    there.add((place, rest))
                    after.add(next_)
        states = after
        among = sorted({place for place, _ in there if place is not None})
        found.append((among, there == {(among[-1] if among else -1, False)}))
    return found
