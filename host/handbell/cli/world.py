"""Which clock the host's commands read: the computer's, or that of a virtual world."""

from __future__ import annotations

import os
from pathlib import Path

from handbell.boxes.hostclock import HostClock, SystemClock


def host_clock() -> HostClock:
    """Return the clock to use; HANDBELL_CLOCK may name a virtual world's clock file."""
    named = os.environ.get("HANDBELL_CLOCK")
    if not named:
        return SystemClock()
    from handbell.virtual.clock import load_clock

    return load_clock(Path(named))
