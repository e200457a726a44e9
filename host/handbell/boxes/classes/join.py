"""A box put into a class that is on.

Where a remote leads, the box waits for its word; else it goes where another box is, by its clock.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

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
    gate. ``parted`` are the boxes that are elsewhere.
    """

    box: str
    class_ms: int
    zero_utc_ms: int | None = None
    stands: bool = False
    leaving: bool = False
    parted: tuple[str, ...] = ()


def join(
    fleet: Fleet,
    loaded: LoadedClass,
    loads: list[Load],
    stations: StationMap,
    clocks: Clocks,
    there: Whereabouts | None,
    progress: Progress = no_progress,
) -> tuple[list[Readiness], dict[int, str]]:
    """Put the boxes of these loads into a class: where it is, None where its remote tells that.

    A box gets its part if it lacks it; one without bytes could not be had. Returned are a row for
    each, and the ids of the boxes that wait now, by station. Raises HandbellError for a station
    without a box.
    """
    pairs = {c.url: (c, load) for c, load in pair(fleet, loads, stations, ())}
    rows: dict[str, Readiness] = {}

    def look(connection: Connection) -> Readiness:
        return _look(connection, pairs[connection.url][1], there is None)

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
    boxes = {load.station: c.who.id for c, load in pairs.values() if rows[c.url].ready}
    whole = loaded.hanging(boxes)

    def one(connection: Connection) -> Readiness:
        load = pairs[connection.url][1]
        row = readiness(connection, load.station, load.digest, clocks)
        if row.ready and there is None:
            set_start(connection, whole, 0, bytes.fromhex(loaded.key))
        elif row.ready and there is not None:
            _go_to(connection, load.digest, there)
        return row

    for outcome in fleet.each(one, [c for c, _ in pairs.values() if rows[c.url].ready]):
        row = rows[outcome.url]
        row.label = outcome.label
        row.why += [why_failed(outcome)] if outcome.value is None else outcome.value.why
    return list(rows.values()), {
        load.station: c.who.id for c, load in pairs.values() if rows[c.url].ready
    }


def _go_to(connection: Connection, digest: str, there: Whereabouts) -> None:
    """Let a box play on where the class is; raises BoxError."""
    gate_ms = there.class_ms if there.stands else -1
    connection.ask(JOIN, d=digest, zero_ms=there.zero_utc_ms or 0, gate_ms=gate_ms)
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
            "comes back by itself as it hears the remote"
            if led
            else "may come back by itself: run the command again in a minute"
        )
    elif status.selected != load.digest and not load.data:
        row.why.append("lacks its part of the plan, and the store does not have it")
    return row


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
