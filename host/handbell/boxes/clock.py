"""Setting a box's clock: many exchanges, the shortest round trip kept, its midpoint taken.

The true offset lies within half the round trip that was kept: the bound that is reported.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

from handbell.boxes.connection import Connection
from handbell.errors import BoxError

EXCHANGES = 24
STEP_US = 2_000  # wall and monotonic time may part by this much during a sync, no more


@dataclass
class Sync:
    """A box's clock as measured: ``utc_us`` and ``box_us`` are the same instant."""

    utc_us: int
    box_us: int
    bound_us: int
    boot: int


def measure(connection: Connection, exchanges: int = EXCHANGES) -> Sync:
    """Measure the box's clock against the host's; raises BoxError if the host's clock steps."""
    clock = connection.clock
    ahead_us = clock.utc_us() - clock.mono_us()
    best: tuple[int, int, int] | None = None
    for _ in range(exchanges):
        reply, sent_us, came_us = connection.timed_request("time")
        there_us = reply["t3"] - reply["t2"]
        round_us = max(0, came_us - sent_us - there_us)
        middle = ((sent_us + came_us) // 2, (reply["t2"] + reply["t3"]) // 2)
        if best is None or round_us < best[0]:
            best = (round_us, *middle)
    assert best is not None
    if abs(clock.utc_us() - clock.mono_us() - ahead_us) > STEP_US:
        raise BoxError(
            connection.label,
            "this computer's clock was changed while the box was being set",
            "Run the command again",
        )
    round_us, mono_us, box_us = best
    boot = int(connection.facts.get("boot", 0))
    return Sync(mono_us + ahead_us, box_us, (round_us + 1) // 2, boot)


def set_clock(connection: Connection) -> Sync:
    """Measure, give the box its clock model, and return what was measured."""
    sync = measure(connection)
    zone_s = time.localtime(sync.utc_us // 1_000_000).tm_gmtoff
    connection.request(
        "clock",
        utc_us=sync.utc_us,
        box_us=sync.box_us,
        ppb=0,
        bound_us=sync.bound_us,
        tz_s=zone_s,
    )
    return sync
