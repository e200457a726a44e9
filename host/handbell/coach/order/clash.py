"""The smallest set of demands that can't hold together: drop one after another, keep the needed.

Dropping a demand never makes a schedule impossible, so a demand without which the rest still
can't hold is not needed, and need not be looked at again.
"""

from __future__ import annotations

import time
from collections.abc import Sequence

from .demands import Clash, Demand, Demands, each, is_bounded, only, steps_most
from .model import Rotation, steps_least
from .words import in_words

TRY_SECONDS = 3.0  # for one set of demands
TRIES_SECONDS = 1.0  # another order of dropping is tried while this much time is left


def has_room(demands: Demands) -> bool:
    """Return whether each group, alone, could do each of its stations."""
    return not _too_big(demands)


def clash(demands: Demands, end: float) -> Clash:
    """Return a smallest clash of demands that can't all hold; ``end`` on the monotonic clock."""
    too_big = _too_big(demands)
    if too_big:
        return _worded(demands, too_big, True)
    demanded = each(demands)
    needed, proved = _needed(demands, demanded)
    if time.monotonic() < end - TRIES_SECONDS:
        others, others_proved = _needed(demands, demanded[::-1])
        if (not others_proved, len(others)) < (not proved, len(needed)):
            needed, proved = others, others_proved
    return _worded(demands, needed, proved)


def holds(demands: Demands) -> bool | None:
    """Return whether a schedule exists for demands; None if it can't be told in the time."""
    if _too_big(demands):
        return False
    if not is_bounded(demands):
        return True  # one group after another, with a wait after every visit
    steps = steps_most(demands)
    if steps_least(demands) > steps:
        return False
    answer, _ = Rotation(demands, steps).find(TRY_SECONDS)
    return answer.found if answer.found or answer.proved else None


def _too_big(demands: Demands) -> list[Demand]:
    """Return the demands of a group that alone is too big for a station or its kit, if any."""
    for g, group in enumerate(demands.groups):
        for s, station in enumerate(demands.stations):
            if not group.visits[s]:
                continue
            if station.room is not None and group.people > station.room:
                return [Demand("visits", g), Demand("room", s)]
            if station.groups_most == 0:
                return [Demand("visits", g), Demand("groups_most", s)]
            for kit, count in demands.kit.items():
                if demands.use(kit, s, g) > count:
                    return [Demand("visits", g), Demand("kit", kit)]
    return []


def _needed(demands: Demands, demanded: Sequence[Demand]) -> tuple[list[Demand], bool]:
    """Return what is left when nothing more can be dropped, and whether that was proved.

    Drops halves first, then smaller shares, then single demands; the last pass proves it.
    """
    kept = list(demanded)
    proved = True
    share = len(kept)
    while share > 1:
        share = -(-share // 2)
        at = 0
        while at < len(kept):
            fewer = kept[:at] + kept[at + share :]
            known = holds(only(demands, set(fewer)))
            if known is False:
                kept = fewer
            else:
                at += share
                proved = proved and not (share == 1 and known is None)
    return kept, proved


def _worded(demands: Demands, needed: list[Demand], proved: bool) -> Clash:
    return Clash(tuple(needed), in_words(demands, needed), proved)
