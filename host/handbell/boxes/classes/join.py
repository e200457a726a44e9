"""A box put into a class that is on.

Where its remote is at hand, the box waits for its word; else it goes where another box is, by its
clock, and follows a remote if that one does.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from typing import Any

from handbell.base.progress import Progress, no_progress
from handbell.boxes.clocks.clock import Clocks
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.fleet import Fleet
from handbell.boxes.link.messages import Status
from handbell.boxes.link.replies import JOIN, STATUS, strange

from .arm import Readiness, readiness, set_start, why_failed
from .loaded import LoadedClass
from .send import Load, pair, send_to
from .stations import StationMap

PARTED_MS = 500  # boxes further apart than this stood for another time

GOES = ("play", "tally")
STANDS = "gate"
BETWEEN = ("leaving", "set")  # at a gate that is being left


@dataclass(frozen=True)
class Whereabouts:
    """Where a class is: ``class_ms``, and since when, but for what it stood.

    ``zero_utc_ms`` is None where only the place is known, or it ``stands``, or is ``leaving`` a
    gate. ``parted`` are the boxes that are elsewhere. It ``waits`` at the end of what is running if
    somebody chose that. Who tells it may be ``led``, without a clock, or the ``remote`` itself, of
    which a word comes by itself then. ``act`` is the number of the last word that it heard, and it
    is ``alone`` if it went on without.
    """

    box: str
    class_ms: int
    zero_utc_ms: int | None = None
    stands: bool = False
    leaving: bool = False
    waits: bool = False
    led: bool = False
    remote: bool = False
    has_clock: bool = True
    act: int = 0
    alone: bool = False
    parted: tuple[str, ...] = ()

    @property
    def tells(self) -> bool:
        """Whether a box can go there."""
        return not self.leaving and (self.stands or self.zero_utc_ms is not None)


def join(
    fleet: Fleet,
    loaded: LoadedClass,
    loads: list[Load],
    stations: StationMap,
    clocks: Clocks,
    tells: Callable[[], Whereabouts] | None,
    progress: Progress = no_progress,
) -> tuple[list[Readiness], dict[int, str]]:
    """Put the boxes of these loads into a class: where it ``tells``, None where its remote does.

    That is asked once they have all that takes time. A box gets its part if it lacks it; one
    without bytes could not be had. Returned are a row for each, and the ids of the boxes that are
    in or wait now, by station. Raises HandbellError for a station without a box, and what ``tells``
    raises.
    """
    pairs = {c.url: (c, load) for c, load in pair(fleet, loads, stations, ())}
    rows: dict[str, Readiness] = {}

    def look(connection: Connection) -> Readiness:
        return _look(connection, pairs[connection.url][1], tells is None)

    for outcome in fleet.each(look, [c for c, _ in pairs.values()]):
        station = pairs[outcome.url][1].station
        rows[outcome.url] = outcome.value or Readiness(
            station, outcome.label, [why_failed(outcome)]
        )
    wanting = [
        (c, load)
        for c, load in pairs.values()
        if rows[c.url].ready and rows[c.url].status.selected != load.digest
    ]
    for sent in send_to(fleet, wanting, stations, progress):
        if sent.error is not None:
            rows[sent.url].why.append(why_failed(sent))

    def clocked(connection: Connection) -> list[str]:
        load = pairs[connection.url][1]
        return readiness(connection, load.station, load.digest, clocks).why

    def ready() -> dict[int, Connection]:
        return {load.station: c for c, load in pairs.values() if rows[c.url].ready}

    def each(do: Callable[[Connection], list[str]]) -> None:
        for outcome in fleet.each(do, list(ready().values())):
            row = rows[outcome.url]
            row.label = outcome.label
            row.why += [why_failed(outcome)] if outcome.value is None else outcome.value

    each(clocked)
    whole = loaded.hanging({n: c.who.id for n, c in ready().items()})
    there = tells() if tells is not None and ready() else None

    def one(connection: Connection) -> list[str]:
        if there is None:
            set_start(connection, whole, 0, bytes.fromhex(loaded.key))
        else:
            _go_to(connection, whole, pairs[connection.url][1].digest, there)
        return []

    each(one)
    return list(rows.values()), {n: c.who.id for n, c in ready().items()}


def _go_to(connection: Connection, loaded: LoadedClass, digest: str, there: Whereabouts) -> None:
    """Let a box play on where the class is; raises BoxError."""
    told: dict[str, Any] = {"zero_ms": there.zero_utc_ms or 0, "gate_ms": -1}
    if there.stands:
        told["gate_ms"] = there.class_ms
    else:
        told |= {"from_ms": there.class_ms, "waits": there.waits}
    if loaded.key and there.led and connection.who.hears:
        told |= {"key": loaded.key, "stations": max(loaded.places)}
        told |= {"act": there.act, "alone": there.alone}
    connection.ask(JOIN, d=digest, **told)
    status = connection.ask(STATUS)
    if status.selected != digest or status.class_ms is None:
        raise strange(connection.label)


def _look(connection: Connection, load: Load, led: bool) -> Readiness:
    """Return whether a box may be put in, before anything of it is changed."""
    status = connection.ask(STATUS)
    row = Readiness(load.station, connection.label, [], status, hears=connection.who.hears)
    if row.in_class:
        row.why.append("is in a class already")
    elif led and not row.hears:
        row.why.append("can't hear the remote, so nothing can tell it where the class is")
    elif status.state == "cut":
        row.why.append(
            "comes back by itself as it hears the remote; else run the command again in a minute"
            if led
            else "may come back by itself: run the command again in a minute"
        )
    elif status.selected != load.digest and not load.data:
        row.why.append("lacks its part of the plan, and the store does not have it")
    return row


def plays(fleet: Fleet, loaded: LoadedClass) -> bool:
    """Return whether its remote is here and leads, or a box that is in that class."""
    digests = {place.digest for place in loaded.places.values()} | {loaded.remote}
    found = [outcome.value for outcome in fleet.each(_status) if outcome.value]
    return any(
        status.selected in digests
        and (
            status.class_ms is not None
            or (status.selected == loaded.remote and status.state == "awaits")
        )
        for status in found
    )


def where(fleet: Fleet, loaded: LoadedClass, but: Collection[int] = ()) -> Whereabouts | None:
    """Return where the remote, or a box in class, says that the class is; None where none is here.

    ``but`` are stations that are not asked.
    """
    digests = {p.digest for n, p in loaded.places.items() if n not in but} | {loaded.remote}
    remotes_first = sorted(fleet.connections, key=lambda c: (not c.who.remote, c.who.station))
    found: Whereabouts | None = None
    for outcome in fleet.each(_status, remotes_first):
        status = outcome.value
        if not status or status.class_ms is None or status.selected not in digests:
            continue
        here = Whereabouts(
            outcome.label,
            status.class_ms,
            status.zero_utc_ms if status.state in GOES else None,
            status.state == STANDS,
            status.state in BETWEEN,
            status.waits,
            status.led,
            outcome.who.remote and status.tells,
            status.zero_utc_ms is not None,
            status.act,
            status.alone,
        )
        if found is None:
            found = here
        elif _apart(found, here):
            found = replace(found, parted=(*found.parted, here.box))
    return found


def _apart(one: Whereabouts, other: Whereabouts) -> bool:
    if one.zero_utc_ms is None or other.zero_utc_ms is None:
        return one.stands != other.stands or (one.stands and one.class_ms != other.class_ms)
    return abs(one.zero_utc_ms - other.zero_utc_ms) > PARTED_MS


def _status(connection: Connection) -> Status:
    return connection.ask(STATUS)
