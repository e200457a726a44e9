"""One bib's rounds of one exercise, added up: what reports of months are made of.

The store keeps them for each run, so that years of classes are read in a second.
"""

from __future__ import annotations

import functools
import struct
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from handbell_core import timeline as t

from .effort import Effort, Outcome

SUMMED = 7  # where in ExerciseSums the numbers begin
_ASKED = struct.Struct("<4I")


class Asked(NamedTuple):
    """What was asked for in one round: its window, and the target or goal (0: none)."""

    start_ms: int
    round: int
    length_ms: int
    goal: int


class ExerciseSums(NamedTuple):
    """One bib's rounds of one exercise at one place of one class, added up.

    ``asked`` is by round. ``read`` rounds ended as planned with a count that is sure; ``pressed``
    ones tell that somebody was there. ``made`` of ``judged`` rounds reached target or goal, or
    were kept to the end. ``reps`` is of all rounds that count. Of ``timed`` targets it is known
    when they were made, with ``earned_rest_ms`` left. ``held_ms`` is how long positions were kept.
    ``rate_sum`` adds up the ``rates`` that rounds have: reps a minute, or seconds held.
    """

    block: int
    item: int
    name: str
    ask: int
    tap: int
    both_sides: bool
    asked: tuple[Asked, ...]
    read: int
    pressed: int
    judged: int
    made: int
    reps: int
    timed: int
    earned_rest_ms: int
    held_ms: int
    rates: int
    rate_sum: float

    @property
    def exercise(self) -> tuple[object, ...]:
        """What sums must share to be added up."""
        return self[: SUMMED - 1]


def added_up(efforts: Iterable[Effort]) -> list[tuple[Effort, ExerciseSums]]:
    """Return the sums of each bib's exercises, and the first effort of each; efforts in order."""
    found: dict[tuple[object, ...], list[Effort]] = {}
    for e in efforts:
        key = e.bib, e.block, e.item, e.name, e.ask, e.tap, e.both_sides
        found.setdefault(key, []).append(e)
    return [(some[0], _sums(some)) for some in found.values()]


def _sums(some: Sequence[Effort]) -> ExerciseSums:
    first = some[0]
    done = [e for e in some if e.outcome is Outcome.DONE]
    judged = [made for e in done if (made := e.made) is not None]
    targets = done if first.ask == t.ASK_TARGET else []
    rests = [rest for e in targets if (rest := e.earned_rest_ms) is not None]
    rates = [rate for e in done if (rate := e.rate) is not None]
    held = done if first.ask == t.ASK_HOLD else []
    return ExerciseSums(
        block=first.block,
        item=first.item,
        name=first.name,
        ask=first.ask,
        tap=first.tap,
        both_sides=first.both_sides,
        asked=tuple(Asked(e.start_ms, e.round, e.end_ms - e.start_ms, e.goal) for e in some),
        read=sum(e.confirmed for e in done),
        pressed=sum(e.pressed for e in some),
        judged=len(judged),
        made=sum(judged),
        reps=sum(e.reps or 0 for e in some),
        timed=len(rests),
        earned_rest_ms=sum(rests),
        held_ms=sum(e.held_ms or 0 for e in held),
        rates=len(rates),
        rate_sum=sum(rates),
    )


def joined(some: Sequence[ExerciseSums]) -> ExerciseSums:
    """Return sums of one exercise as one, named as in its first round; ValueError of none."""
    first = min(some, key=lambda e: e.asked)
    if len(some) == 1:
        return first
    asked = tuple(sorted(asked for e in some for asked in e.asked))
    totals = [sum(numbers) for numbers in zip(*(e[SUMMED:] for e in some), strict=True)]
    return ExerciseSums._make([*first.exercise, asked, *totals])


def packed(asked: Iterable[Asked]) -> bytes:
    """Return what was asked for as the store keeps it: four 32-bit numbers for each round."""
    return b"".join(_ASKED.pack(*each) for each in asked)


@functools.lru_cache(maxsize=4096)  # a plan asks the same of everybody, week after week
def unpacked(data: bytes) -> tuple[Asked, ...]:
    """Return what ``packed`` was given."""
    return tuple(Asked(*numbers) for numbers in _ASKED.iter_unpack(data))
