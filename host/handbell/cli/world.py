"""Which clock the host's commands read: the computer's, or that of a virtual world."""

from __future__ import annotations

from pathlib import Path

from handbell.base.places import CLOCK, named
from handbell.boxes.clocks.hostclock import HostClock, SystemClock


def host_clock() -> HostClock:
    """Return the clock to use; HANDBELL_CLOCK may name a virtual world's clock file."""
    path = named(CLOCK)
    if not path:
        return SystemClock()
    from handbell.virtual.clock import load_clock

    return load_clock(Path(path))
