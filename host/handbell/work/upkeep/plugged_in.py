"""What several operations on boxes share: the boxes that are plugged in, and ports without one."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from handbell.base.errors import HandbellError, StoreError
from handbell.base.places import CLOCK, named
from handbell.boxes.clocks.clock import Clocks
from handbell.boxes.link.fleet import Fleet
from handbell.boxes.link.hostclock import HostClock, SystemClock

if TYPE_CHECKING:
    from handbell.store.store import Store


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


def require_box(fleet: Fleet) -> None:
    """Raise HandbellError, with the first port's reason, when no box answers."""
    if not fleet.connections:
        raise fleet.strangers[0].error or HandbellError("No box answers")


@contextmanager
def store_or_none(url: str | None) -> Iterator[tuple[Store | None, Clocks]]:
    """Give the store and clocks that keep their contacts in it; a class needs neither to go on.

    Without a store, ``trouble`` of the clocks says why, and they forget their contacts.
    """
    from handbell.store import open_store

    try:
        store = open_store(url)
    except StoreError as error:
        clocks = Clocks()
        clocks.trouble = str(error)
        yield None, clocks
        return
    with store:
        yield store, Clocks(store)
