"""Putting timelines on boxes: in checked chunks that go on at the last good byte."""

from __future__ import annotations

import binascii
from dataclasses import dataclass
from typing import Any

from handbell.base.errors import BoxError, HandbellError
from handbell.boxes.clocks.clock import Sync, set_clock
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.fleet import Fleet, Outcome, Progress, no_progress
from handbell.boxes.link.listing import TIMELINES, listing
from handbell.boxes.link.replies import strange
from handbell.boxes.link.words import fault_error, other_version
from handbell_core import faults, frames, timeline
from handbell_core.versions import name, reads

from .stations import StationMap

# What a box says when it can't play a timeline that it holds; older ones say NOT_FOUND.
_BROKEN = (faults.NOT_FOUND, faults.NOT_WHOLE, faults.FLASH_ERROR, faults.TIMELINE_BROKEN)


@dataclass
class Load:
    """A timeline for a station: ``digest`` in hex, ``data`` the file's bytes."""

    station: int
    label: str
    digest: str
    data: bytes
    buttons: int = 1


@dataclass
class Sent:
    """What one box now holds."""

    station: int
    digest: str
    size: int
    already: bool
    sync: Sync


def put(connection: Connection, load: Load, progress: Progress = no_progress) -> bool:
    """Put one timeline on a box; True if it was there already. Raises BoxError.

    Until the last step, which checks the digest, the box keeps what it had.
    """
    for last in (False, True):
        had = _transfer(connection, load, progress)
        try:
            connection.request("select" if had else "keep", d=load.digest)
            return had
        except BoxError as error:
            if error.code not in (_BROKEN if had else (faults.NOT_WHOLE,)):
                raise
            if had and last:
                raise _cant_renew(connection) from error
            if last:
                raise
        if had:  # it went by the name, and what the file holds is something else
            _drop_broken(connection, load.digest)
    raise AssertionError


def _transfer(connection: Connection, load: Load, progress: Progress) -> bool:
    """Bring over what a box lacks of a timeline; True if it says that it has all of it."""
    size = len(load.data)
    at: int = connection.request("put", d=load.digest, n=size, at=0, b="")["at"]
    while 0 <= at < size:
        text = binascii.b2a_base64(load.data[at : at + frames.CHUNK], newline=False).decode()
        got: int = connection.request("put", d=load.digest, n=size, at=at, b=text)["at"]
        if 0 <= got < min(at + frames.CHUNK, size):
            raise strange(connection.label)
        at = got
        progress(connection.label, "sending", size if at < 0 else at, size)
    if at < 0:
        progress(connection.label, "sending", size, size)
    return at < 0


def _drop_broken(connection: Connection, digest: str) -> None:
    """Take a timeline away that does not hold what its name says; raises BoxError if it stays."""
    for entry in listing(connection, TIMELINES):
        if entry.get("name") == digest and "d" in entry:
            connection.request("drop", of=TIMELINES, name=digest, d=entry["d"])
            return
    raise _cant_renew(connection)


def _cant_renew(connection: Connection) -> BoxError:
    return BoxError(
        connection.label,
        "its copy of this plan is broken and can't be renewed",
        "Renew its firmware with handbell prepare, or hang a spare there and send again",
        faults.TIMELINE_BROKEN,
    )


def pair(
    fleet: Fleet, loads: list[Load], stations: StationMap, without: set[int]
) -> list[tuple[Connection, Load]]:
    """Return which box gets which timeline; raises HandbellError naming stations without a box.

    With no map at all, the boxes are taken in the order of their own station numbers.
    """
    by_id = {c.facts["id"]: c for c in fleet.connections}
    pairs = []
    missing = []
    wanted = [load for load in loads if load.station not in without]
    if not stations.stations:
        if len(fleet.connections) < len(wanted):
            missing = [load.station for load in wanted[len(fleet.connections) :]]
        pairs = list(zip(fleet.connections, wanted, strict=False))
    else:
        for load in wanted:
            place = stations.stations.get(load.station)
            box = by_id.get(place.box) if place else None
            if box is None:
                missing.append(load.station)
            else:
                pairs.append((box, load))
    if missing:
        words = ", ".join(str(n) for n in missing)
        raise HandbellError(
            f"No box is plugged in for station {words}",
            f"Plug it in, hang a spare there with handbell stations {missing[0]}=BOX, "
            f"or go on knowingly with --without {missing[0]}",
        )
    return pairs


def send(
    fleet: Fleet,
    loads: list[Load],
    stations: StationMap,
    without: set[int] | None = None,
    progress: Progress = no_progress,
) -> list[Outcome[Sent]]:
    """Send every station's timeline to its box and set its clock, all boxes at once."""
    pairs = {c.url: (c, load) for c, load in pair(fleet, loads, stations, without or set())}

    def one(connection: Connection) -> Sent:
        load = pairs[connection.url][1]
        _check(connection, load)
        place = stations.stations.get(load.station)
        label = (place.label if place else "") or load.label
        facts: dict[str, Any] = connection.facts
        if facts.get("station") != load.station or facts.get("label") != label:
            connection.request("name", station=load.station, label=ascii_label(label))
            connection.label = label
        already = put(connection, load, progress)
        sync = set_clock(connection)
        return Sent(load.station, load.digest, len(load.data), already, sync)

    return fleet.each(one, [c for c, _ in pairs.values()])


def _check(connection: Connection, load: Load) -> None:
    """Raise BoxError for a box that can't play a timeline, before anything of it is changed."""
    facts = connection.facts
    if not connection.ours:
        raise other_version(connection.label, facts)
    needed = load.data[4] if len(load.data) > 4 else timeline.VERSION
    if not reads(int(facts.get("tl", timeline.VERSION)), needed):
        raise BoxError(
            connection.label,
            f"plays plans of version {name(facts['tl'])}, and this one needs {name(needed)}",
            "Run handbell prepare to renew its firmware",
            faults.VERSION,
        )
    if load.buttons > int(facts.get("buttons", 1)):
        raise fault_error(connection.label, faults.WRONG_BOX)


def ascii_label(label: str) -> str:
    """Return a label in the printable characters that a frame carries, 32 at most."""
    from anyascii import anyascii

    return anyascii(label)[:32]
