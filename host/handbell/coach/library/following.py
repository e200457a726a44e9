"""What follows straight after what, before people have recovered."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from math import inf
from typing import TYPE_CHECKING

from handbell.plan.own_tasks import done_by
from handbell_core.timeline import GATE, WINDOW

if TYPE_CHECKING:
    from handbell.compile.schedule import Schedule
    from handbell.plan.model import Exercise

    from .entry import Entry

RECOVERED_MS = 60_000  # after a pause this long what was tired may be used again
Window = tuple[int, int]  # block and exercise, from 0


def followings(schedule: Schedule) -> Iterator[tuple[Window, Window]]:
    """Yield each exercise and the one that follows it before people have recovered, once each.

    Each lane, or group of a rotation, is followed by itself. An exercise that follows itself, as in
    a block of one, is meant so and left out; so are the legs of a relay, which others run.
    """
    blocks = schedule.plan.blocks
    seen: set[tuple[Window, Window]] = set()
    for walker in dict.fromkeys(schedule.alike):
        for (one, rest_ms), (other, _) in pairwise(_walk(schedule, walker)):
            passed_on = one[0] == other[0] and blocks[one[0]].relay
            if one != other and rest_ms < RECOVERED_MS and not passed_on:
                if (one, other) not in seen:
                    yield one, other
                seen.add((one, other))


def _walk(schedule: Schedule, walker: int) -> Iterator[tuple[Window, float]]:
    """Yield what a lane or a group does, one after the other, and its rest after each, in ms.

    Waiting is rest too, and at a gate it may take any time.
    """
    last: Window | None = None
    rest_ms = 0.0
    for s in schedule.stretches:
        post = schedule.walks[s.block - 1][s.step][walker] if s.kind == WINDOW else None
        if post is None:
            rest_ms += inf if s.kind == GATE else s.duration_ms
            continue
        if last is not None:
            yield last, rest_ms
        last, rest_ms = (s.block - 1, post.number), 0.0
    if last is not None:
        yield last, inf


def shared_load(one: Entry, other: Entry) -> list[str]:
    """Return what both exercises tire."""
    return [part for part in one.tires if part in other.tires]


def in_turn(first: Exercise, second: Exercise) -> dict[tuple[str, str], list[int]]:
    """Return the names of what is done one after the other, and for whom; all others come first."""
    written = (first.names[-1], second.names[0])
    found: dict[tuple[str, str], list[int]] = {written: []}
    scaled = {bib for exercise in (first, second) for own in exercise.scaled for bib in own.bibs}
    for bib in sorted(scaled):
        names = done_by(first, bib).names[-1], done_by(second, bib).names[0]
        if names != written:
            found.setdefault(names, []).append(bib)
    return found
