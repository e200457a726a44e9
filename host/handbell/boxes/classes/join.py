"""A box put into a class that is on: it waits for the remote, which tells where the class is."""

from __future__ import annotations

from handbell.base.progress import Progress, no_progress
from handbell.boxes.clocks.clock import Clocks
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.fleet import Fleet
from handbell.boxes.link.messages import Status
from handbell.boxes.link.replies import STATUS

from .arm import Readiness, readiness, set_start, why_failed
from .send import Load, pair, send_to
from .session import LoadedClass
from .stations import StationMap


def join(
    fleet: Fleet,
    loaded: LoadedClass,
    loads: list[Load],
    stations: StationMap,
    clocks: Clocks,
    progress: Progress = no_progress,
) -> tuple[list[Readiness], dict[int, str]]:
    """Put the boxes of these loads into a class that a remote leads.

    A box gets its part if it lacks it; one without bytes could not be had. Returned are a row for
    each, and the ids of the boxes that wait now, by station. Raises HandbellError for a station
    without a box.
    """
    pairs = {c.url: (c, load) for c, load in pair(fleet, loads, stations, ())}
    rows: dict[str, Readiness] = {}

    def look(connection: Connection) -> Readiness:
        return _look(connection, pairs[connection.url][1])

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
    there = loaded.hanging(boxes)

    def one(connection: Connection) -> Readiness:
        load = pairs[connection.url][1]
        row = readiness(connection, load.station, load.digest, clocks)
        if row.ready:
            set_start(connection, there, 0, bytes.fromhex(loaded.key))
        return row

    for outcome in fleet.each(one, [c for c, _ in pairs.values() if rows[c.url].ready]):
        row = rows[outcome.url]
        row.label = outcome.label
        row.why += [why_failed(outcome)] if outcome.value is None else outcome.value.why
    return list(rows.values()), {
        load.station: c.who.id for c, load in pairs.values() if rows[c.url].ready
    }


def _look(connection: Connection, load: Load) -> Readiness:
    """Return whether a box may be put in, before anything of it is changed."""
    status = connection.ask(STATUS)
    row = Readiness(load.station, connection.label, [], status, hears=connection.who.hears)
    if row.in_class:
        row.why.append("is in a class already")
    elif not row.hears:
        row.why.append("can't hear the remote, so nothing can tell it where the class is")
    elif status.state == "cut":
        row.why.append("comes back by itself as it hears the remote")
    elif status.selected != load.digest and not load.data:
        row.why.append("lacks its part of the plan, and the store does not have it")
    return row


def where(fleet: Fleet, loaded: LoadedClass) -> int | None:
    """Return the ``class_ms`` that the remote tells, or a box in class; None where none is here."""
    digests = {loaded.remote, *(place.digest for place in loaded.places.values())}
    remotes_first = sorted(fleet.connections, key=lambda c: not c.who.remote)
    for outcome in fleet.each(_status, remotes_first):
        status = outcome.value
        if status and status.class_ms is not None and status.selected in digests:
            return status.class_ms
    return None


def _status(connection: Connection) -> Status:
    return connection.ask(STATUS)
