"""Putting timelines on boxes: in checked chunks that go on at the last good byte."""

from __future__ import annotations

import binascii
import io
from collections.abc import Collection
from dataclasses import dataclass

from handbell.base.errors import BoxError, HandbellError
from handbell.base.progress import Progress, no_progress
from handbell.base.words import several
from handbell.boxes.clocks.clock import Sync, set_clock
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.fleet import Fleet, Outcome, in_order
from handbell.boxes.link.listing import TIMELINES, listing
from handbell.boxes.link.replies import DROP, KEEP, NAME, PUT, SELECT, STATUS, strange
from handbell.boxes.link.words import other_version
from handbell_core import faults, frames, timeline
from handbell_core.versions import minor, name, reads

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
    """What one box now holds; no ``sync`` where its clock could not be set.

    ``had_start``: it was set to start, whoever did that, and is no more.
    """

    station: int
    digest: str
    size: int
    already: bool
    sync: Sync | None = None
    had_start: bool = False


def put(connection: Connection, load: Load, progress: Progress = no_progress) -> bool:
    """Put one timeline on a box; True if it was there already. Raises BoxError.

    Until the last step, which checks the digest, the box keeps what it had.
    """
    for last in (False, True):
        had = _transfer(connection, load, progress)
        try:
            connection.ask(SELECT if had else KEEP, d=load.digest)
            if connection.ask(STATUS).selected != load.digest:  # it only said so
                raise strange(connection.label)
            return had and not last
        except BoxError as error:
            if error.code not in (_BROKEN if had else (faults.NOT_WHOLE, faults.FLASH_ERROR)):
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
    at = connection.ask(PUT, d=load.digest, n=size, at=0, b="")
    while 0 <= at < size:
        text = binascii.b2a_base64(load.data[at : at + frames.CHUNK], newline=False).decode()
        at = connection.ask(PUT, d=load.digest, n=size, at=at, b=text)
        progress(connection.label, "sending", size if at < 0 else at, size)
    if at < 0:
        progress(connection.label, "sending", size, size)
    return at < 0


def _drop_broken(connection: Connection, digest: str) -> None:
    """Take a timeline away that does not hold what its name says; raises BoxError if it stays."""
    for entry in listing(connection, TIMELINES):
        if entry.name == digest and not entry.bad:
            connection.ask(DROP, of=TIMELINES, name=digest, d=entry.digest)
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
    fleet: Fleet, loads: list[Load], stations: StationMap, without: Collection[int]
) -> list[tuple[Connection, Load]]:
    """Return which box gets which timeline; raises HandbellError naming stations without a box.

    A station's box is the one that the map names; where it names none, the one that calls itself
    by that number. Only boxes that have no number hang where one is wanting, in order of ports.
    """
    boxes = [c for c in fleet.connections if not c.who.remote]
    by_id = {c.who.id: c for c in boxes}
    mapped = {place.box for place in stations.stations.values()}
    free = [c for c in boxes if c.who.id not in mapped]
    found: dict[int, Connection] = {}
    wanted = [load for load in loads if load.station not in without]
    for load in wanted:
        place = stations.stations.get(load.station)
        own = (c for c in free if c.who.station == load.station)
        box = by_id.get(place.box) if place else next(own, None)
        if box is not None:
            found[load.station] = box
    nameless = iter(sorted((c for c in free if not c.who.station), key=lambda c: in_order(c.url)))
    for load in wanted:
        if load.station not in found and load.station not in stations.stations:
            box = next(nameless, None)
            if box is not None:
                found[load.station] = box
    missing = [load.station for load in wanted if load.station not in found]
    if missing:
        _refuse(fleet, missing)
    return [(found[load.station], load) for load in wanted]


def _refuse(fleet: Fleet, missing: list[int]) -> None:
    """Raise for stations without a box: one that a port hides may be among them."""
    if fleet.hiding is not None:
        raise fleet.hiding
    raise HandbellError(
        f"No box is plugged in for station {', '.join(map(str, missing))}",
        f"Plug it in, hang a spare there with handbell stations {missing[0]}=BOX, "
        f"or go on knowingly with --without {missing[0]}",
    )


def send(
    fleet: Fleet,
    loads: list[Load],
    stations: StationMap,
    without: Collection[int] = (),
    progress: Progress = no_progress,
    remote: Load | None = None,
) -> list[Outcome[Sent]]:
    """Send every station's timeline to its box and set its clock, all boxes at once.

    ``remote`` goes to each remote that is plugged in.

    A box that got its timeline and failed later has a value and an error.
    """
    pairs = pair(fleet, loads, stations, without)
    if remote is not None:
        pairs += [(c, remote) for c in fleet.connections if c.who.remote]
    return send_to(fleet, pairs, stations, progress)


def send_to(
    fleet: Fleet,
    pairs: list[tuple[Connection, Load]],
    stations: StationMap,
    progress: Progress = no_progress,
) -> list[Outcome[Sent]]:
    """Send each box its timeline, as ``send`` does."""
    by_url = {c.url: load for c, load in pairs}
    got: dict[str, Sent] = {}

    def one(connection: Connection) -> Sent:
        load = by_url[connection.url]
        _check(connection, load)
        place = stations.stations.get(load.station)
        label = (place.label if place else "") or load.label
        told = ascii_label(label)
        if (connection.who.station, connection.who.label) != (load.station, told):
            connection.ask(NAME, station=load.station, label=told)
            connection.label = label
        had_start = connection.ask(STATUS).state in ("set", "awaits")
        already = put(connection, load, progress)
        sent = Sent(load.station, load.digest, len(load.data), already, had_start=had_start)
        got[connection.url] = sent
        sent.sync = set_clock(connection)
        return sent

    outcomes = fleet.each(one, [c for c, _ in pairs])
    for outcome in outcomes:
        outcome.value = got.get(outcome.url)
    return outcomes


def make_spares(fleet: Fleet, stations: StationMap) -> None:
    """Take its number off each box that has one where the map has another box by now.

    It was not plugged in when that was hung. One that refuses is asked the next time.
    """
    hung = {n: place.box for n, place in stations.stations.items()}
    replaced = [
        c
        for c in fleet.connections
        if c.ours and c.who.id not in hung.values() and c.who.station in hung
    ]
    fleet.each(lambda c: c.ask(NAME, station=0, label=""), replaced)


def _check(connection: Connection, load: Load) -> None:
    """Raise BoxError for a box that can't play a timeline, before anything of it is changed."""
    who = connection.who
    if not connection.ours:
        raise other_version(connection.label, who)
    needed = load.data[4] if len(load.data) > 4 else timeline.VERSION
    if not reads(who.plans, needed):
        raise BoxError(
            connection.label,
            f"plays plans of version {name(who.plans)}, and this one needs {name(needed)}",
            "Run handbell prepare to renew its firmware",
            faults.VERSION,
        )
    if minor(who.plans) < timeline.LEGS_MINOR <= minor(needed) and _hands_over(load.data):
        raise BoxError(
            connection.label,
            "counts no relay by taps, its program is too old",
            "Run handbell prepare to renew its firmware",
            faults.VERSION,
        )
    if load.buttons > who.buttons:
        fitted = "handbell prepare --buttons says how many are fitted"
        needs, remedy = f"this plan needs {load.buttons}", f"Lower buttons in the plan; {fitted}"
        if who.remote:
            needs, remedy = f"a remote needs {load.buttons}", fitted
        raise BoxError(
            connection.label,
            f"has {several(who.buttons, 'button')}, and {needs}",
            remedy,
            faults.WRONG_BOX,
        )


def _hands_over(data: bytes) -> bool:
    """Whether a timeline has a relay in which a tap hands over; a hall any box may pass over."""
    if not data:
        return False  # the box is to have it already
    reader, span = timeline.Reader(io.BytesIO(data)), timeline.Span()
    spans = range(reader.head.spans)
    return any(reader.span(n, span).flags & timeline.HAND_OVER for n in spans)


def ascii_label(label: str) -> str:
    """Return a label in the printable characters that a frame carries, 32 at most."""
    from anyascii import anyascii

    return anyascii(label)[:32]
