"""What several operations on boxes share: the boxes that are plugged in, and ports without one."""

from __future__ import annotations

from dataclasses import dataclass

from handbell.base.places import CLOCK, named
from handbell.boxes.clocks.hostclock import HostClock, SystemClock
from handbell.boxes.link.fleet import Fleet


@dataclass(frozen=True)
class Stranger:
    """A port where no box of ours answered, and why."""

    port: str
    why: str


def open_fleet(ports: list[str] | None) -> Fleet:
    """Open every box at ``ports``, or every one found; raises HandbellError when there is none."""
    return Fleet(ports, host_clock())


def host_clock() -> HostClock:
    """Return the clock to use; the environment may name a virtual world's clock file."""
    path = named(CLOCK)
    if not path:
        return SystemClock()
    from pathlib import Path

    from handbell.virtual.clock import load_clock

    return load_clock(Path(path))


def strangers(fleet: Fleet) -> tuple[Stranger, ...]:
    """Return the ports where no box answered."""
    return tuple(Stranger(s.url, str(s.error)) for s in fleet.strangers)
