"""Watching the clocks of boxes that stay plugged in until the rates of their crystals are known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from handbell.base.errors import BoxError, HandbellError
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.fleet import Fleet
from handbell.boxes.link.hostclock import HostClock

from .clock import Clocks, Sync
from .rate import Estimate

FIRST_PAUSE_S, PAUSE_GROWS, LONGEST_PAUSE_S = 2.0, 1.25, 30.0
MISSES_MOST = 3  # measurements in a row that may fail before a box is given up


@dataclass
class Watched:
    """One box under watch; ``why`` says why it is watched no more, "" while it is."""

    label: str
    station: int
    box_id: str
    contacts: int = 0
    bound_us: int = 0
    estimate: Estimate = field(default_factory=Estimate)
    why: str = ""
    given: bool = False
    misses: int = 0


Watch = Callable[[list[Watched], int, int], None]


def calibrate(
    fleet: Fleet, clocks: Clocks, minutes: int, host: HostClock, watch: Watch
) -> tuple[list[Watched], bool]:
    """Measure every box for so many minutes, then give each its rate.

    ``watch`` is told the boxes, the seconds gone and the seconds wanted after each round.
    Returns the boxes, and whether it was broken off; every contact is kept either way.
    """
    boxes = {c.url: Watched(c.label, c.who.station, c.who.id) for c in fleet.connections}
    latest: dict[str, Sync] = {}
    began_us, wanted_s = host.mono_us(), minutes * 60
    pause_s = FIRST_PAUSE_S
    broken_off = False
    try:
        while True:
            _round(fleet, clocks, boxes, latest)
            gone_s = (host.mono_us() - began_us) // 1_000_000
            watch(list(boxes.values()), min(gone_s, wanted_s), wanted_s)
            if gone_s >= wanted_s or all(box.why for box in boxes.values()):
                break
            host.sleep(min(pause_s, wanted_s - gone_s))
            pause_s = min(LONGEST_PAUSE_S, pause_s * PAUSE_GROWS)
    except KeyboardInterrupt:
        broken_off = True
    _finish(fleet, clocks, boxes, latest)
    return list(boxes.values()), broken_off


def _round(
    fleet: Fleet, clocks: Clocks, boxes: dict[str, Watched], latest: dict[str, Sync]
) -> None:
    """Measure once each box that is still watched."""

    def one(connection: Connection) -> tuple[Sync, Estimate]:
        connection.hello()  # a box that restarted has another boot
        sync = clocks.contact(connection, "calibrate")
        return sync, clocks.estimate(connection.who.id, sync.utc_us)

    for outcome in fleet.each(one, [c for c in fleet.connections if not boxes[c.url].why]):
        box = boxes[outcome.url]
        if outcome.value is None:
            box.misses += 1
            if box.misses >= MISSES_MOST:
                box.why = str(outcome.error)
            continue
        latest[outcome.url], box.estimate = outcome.value
        box.misses = 0
        box.contacts += 1
        box.bound_us = latest[outcome.url].bound_us


def _finish(
    fleet: Fleet, clocks: Clocks, boxes: dict[str, Watched], latest: dict[str, Sync]
) -> None:
    """Give each box its clock with the rate."""

    def one(connection: Connection) -> Estimate:
        _, found = clocks.give(connection, latest[connection.url])
        return found

    for outcome in fleet.each(one, [c for c in fleet.connections if c.url in latest]):
        box = boxes[outcome.url]
        if outcome.value is not None:
            box.estimate = outcome.value
            box.given = box.estimate.rate is not None
        elif not box.why:
            error: HandbellError = outcome.error or BoxError(box.label, "did not answer")
            box.why = str(error)
