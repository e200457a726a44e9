"""Who is where in a rotation: the shortest schedule that keeps every demand, or why there is none.

    Demands -> solve -> Schedule | Clash

The shortest schedule is the one with the fewest steps; as every group's visits are given, it is
also the one in which all groups together wait least. Where it can be, everybody simply moves on to
the next station; else nobody waits longer on end than must be.
"""

from __future__ import annotations

import time
from itertools import groupby

from .clash import clash, has_room
from .demands import (
    WAITS,
    Clash,
    Demands,
    Schedule,
    UndecidedError,
    is_bounded,
    require_sound,
    steps_most,
)
from .model import Places, Rotation, steps_least
from .verify import broken

SECONDS = 20.0
SHARE = 0.25  # of the time left, for one number of steps
SECONDS_LEAST = 0.05
EVEN_SECONDS = 0.5  # for shortening the longest wait


def solve(demands: Demands, seconds: float = SECONDS) -> Schedule | Clash:
    """Return the shortest schedule, or a smallest set of demands that clash.

    Raises UsageError for demands that make no sense, UndecidedError when the time runs out before
    a schedule is found or ruled out, SolverMissingError.
    """
    require_sound(demands)
    end = time.monotonic() + seconds
    if not has_room(demands):
        return clash(demands, end)
    least, most = steps_least(demands), steps_most(demands)
    if least > most:
        return clash(demands, end)
    if simple := _in_a_circle(demands, least):
        return Schedule(simple, shortest=True)
    longest: Places = ()
    if is_bounded(demands):
        answer, longest = Rotation(demands, most).find(end - time.monotonic())
        if not answer.found:
            if not answer.proved:
                raise UndecidedError(seconds)
            return clash(demands, end)
    places, shortest = _shortest(demands, range(least, most if longest else most + 1), end)
    if not places and not longest:
        raise UndecidedError(seconds)
    return Schedule(_evened(demands, places or longest), shortest)


def _shortest(demands: Demands, tried: range, end: float) -> tuple[Places, bool]:
    """Return a schedule of as few steps as can be, and whether fewer were proved impossible.

    There are no places when none of the tried numbers of steps was found to do.
    """
    proved = True
    for steps in tried:
        left = end - time.monotonic()
        if left < SECONDS_LEAST:
            return (), False
        answer, places = Rotation(demands, steps).find(left * SHARE)
        if answer.found:
            return places, proved
        proved = proved and answer.proved
    return (), proved


def _in_a_circle(demands: Demands, steps: int) -> Places:
    """Return the schedule in which all move on to the next station; empty if it breaks a demand.

    Groups that do the same stations go round them; waits lie evenly between.
    """
    alike: dict[tuple[int, ...], int] = {}  # how many groups so far do the same stations
    rows = []
    for group in demands.groups:
        begins = alike.setdefault(group.visits, 0)
        alike[group.visits] += 1
        stations = [s for s, visits in enumerate(group.visits) if visits]
        circle = [WAITS] * steps
        for n, s in enumerate(stations):
            circle[n * steps // len(stations)] = s
        rows.append(tuple(circle[(begins + t) % steps] for t in range(steps)))
    places = tuple(rows)
    return () if broken(demands, Schedule(places, shortest=True)) else places


def _evened(demands: Demands, places: Places) -> Places:
    """Return a schedule of as many steps in which the longest wait is as short as can be."""
    steps = len(places[0])
    end = time.monotonic() + EVEN_SECONDS
    working = _working(places)
    longest = longest_of(places)
    least = max(
        (-(-row.count(WAITS) // (steps - row.count(WAITS) + 1)) for row in working), default=0
    )
    for waits in range(least, longest):
        if (left := end - time.monotonic()) < SECONDS_LEAST:
            break
        model = Rotation(demands, steps)
        model.wait_at_most(waits)
        answer, better = model.find(left)
        if answer.found:
            return better
    return places


def longest_of(places: Places) -> int:
    """Return how many steps on end anybody waits at most who works at all."""
    return max(map(longest_wait, _working(places)), default=0)


def _working(places: Places) -> list[tuple[int, ...]]:
    return [row for row in places if any(place != WAITS for place in row)]


def longest_wait(row: tuple[int, ...]) -> int:
    """Return how many steps on end a group waits at most."""
    return max((len(list(run)) for place, run in groupby(row) if place == WAITS), default=0)
