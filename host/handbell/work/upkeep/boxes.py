"""The boxes that are plugged in: listed with their health, calibrated, tested part by part."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from handbell.base.errors import BoxError, HandbellError, UsageError
from handbell.boxes.classes.loaded import LoadedClass
from handbell.boxes.classes.session import Session
from handbell.boxes.classes.stations import StationMap
from handbell.boxes.clocks import calibrate as watching
from handbell.boxes.clocks.clock import Clocks
from handbell.boxes.clocks.rate import Rate
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.messages import Hello, Status
from handbell.boxes.link.replies import STATUS
from handbell.boxes.link.words import other_version
from handbell.boxes.selftest import Ask, SelfTest
from handbell.store import open_store
from handbell.store.results.queries import titles_of

from .plugged_in import Stranger, host_clock, open_fleet, require_box, strangers

CALIBRATE_LEAST_MIN, CALIBRATE_MOST_MIN = 6, 600  # a rate wants two contacts 5 min apart

ANOTHER = "another"


@dataclass(frozen=True)
class BoxSeen:
    """A box and how it is; no ``status`` when it did not tell, and ``why`` says so.

    ``plan`` is the title of the class sent last if the box holds its part, "another" if it holds
    something else, "" if nothing; ``title`` is that of what it holds as far as the store knows it.
    ``replaced``: it calls itself the station where another box hangs now.
    """

    port: str
    box: str
    who: Hello
    status: Status | None
    plan: str
    title: str
    replaced: bool
    why: str


@dataclass(frozen=True)
class Boxes:
    """The boxes that are plugged in, and the ports where none answers."""

    ok: bool
    boxes: tuple[BoxSeen, ...]
    others: tuple[Stranger, ...]


def boxes(ports: list[str] | None = None, store_url: str | None = None) -> Boxes:
    """List the boxes that are plugged in."""
    try:
        loaded = Session(host_clock().utc_us() // 1000).last()
    except HandbellError:
        loaded = LoadedClass("", {})
    with open_fleet(ports) as fleet:
        outcomes = fleet.each(_status)
        others = strangers(fleet)
    hung = _hung()
    held = [o.value for o in outcomes if o.value is not None]
    strange = {status.selected for status in held if _plan(status, loaded) == ANOTHER}
    titles = _titles(strange, store_url) if strange else {}
    rows = []
    for o in outcomes:
        plan, n = _plan(o.value, loaded), o.who.station
        title = titles.get(o.value.selected, "") if o.value and plan == ANOTHER else plan
        replaced = n in hung and hung[n] != o.who.id
        facts = o.url, o.label, o.who, o.value, plan, title, replaced, str(o.error or "")
        rows.append(BoxSeen(*facts))
    fine = bool(rows) and not others and all(not row.why for row in rows)
    return Boxes(fine, tuple(rows), others)


def _hung() -> dict[int, str]:
    """Return which box hangs at each station by the map."""
    try:
        return {n: place.box for n, place in StationMap().stations.items()}
    except HandbellError:  # who changes it is told
        return {}


def _titles(digests: set[str], store_url: str | None) -> dict[str, str]:
    """Return the titles of timelines that the store knows, by digest."""
    try:
        with open_store(store_url, make=False) as store:
            return titles_of(store, digests)
    except HandbellError:  # without a store boxes can be listed all the same
        return {}


def _status(connection: Connection) -> Status:
    """Return how a box is; raises BoxError for one with another link, with what waits on it."""
    status = connection.ask(STATUS)
    if not connection.ours:
        raise other_version(connection.label, connection.who, status.runs)
    return status


def _plan(status: Status | None, loaded: LoadedClass) -> str:
    if status is None or not status.selected:
        return ""
    digests = {loaded.remote, *(place.digest for place in loaded.places.values())}
    return loaded.title if status.selected in digests else ANOTHER


@dataclass(frozen=True)
class BoxCalibrated:
    """What is known of a box's crystal; ``no_rate`` says why it is not, ``why`` why it failed."""

    box: str
    station: int
    id: str
    contacts: int
    bound_us: int
    rate: Rate | None
    no_rate: str
    odd: tuple[str, ...]
    given: bool
    why: str


@dataclass(frozen=True)
class Calibrated:
    """What calibrating came to; ``trouble`` says why contacts could not be kept."""

    ok: bool
    boxes: tuple[BoxCalibrated, ...]
    ended_early: bool
    others: tuple[Stranger, ...]
    trouble: str


Watch = Callable[[tuple[BoxCalibrated, ...], int, int], None]
"""Is told of the boxes, the seconds gone and the seconds wanted."""


def calibrate(
    minutes: int,
    watch: Watch,
    ports: list[str] | None = None,
    store_url: str | None = None,
) -> Calibrated:
    """Measure the boxes for so many minutes, keep all contacts, give each box its rate."""
    if not CALIBRATE_LEAST_MIN <= minutes <= CALIBRATE_MOST_MIN:
        raise UsageError(
            f"--calibrate {minutes} is too short or too long",
            f"Say {CALIBRATE_LEAST_MIN} to {CALIBRATE_MOST_MIN} minutes; 30 is plenty",
        )
    with open_fleet(ports) as fleet, open_store(store_url) as store:
        require_box(fleet)
        clocks = Clocks(store)
        host = fleet.connections[0].clock
        found, ended_early = watching.calibrate(
            fleet, clocks, minutes, host, lambda now, *gone: watch(_calibrated(now), *gone)
        )
        others = strangers(fleet)
    rows = _calibrated(found)
    fine = all(row.given for row in rows) and not others and not clocks.trouble
    return Calibrated(fine, rows, ended_early, others, clocks.trouble)


def _calibrated(watched: list[watching.Watched]) -> tuple[BoxCalibrated, ...]:
    return tuple(
        BoxCalibrated(
            box.label,
            box.station,
            box.box_id,
            box.contacts,
            box.bound_us,
            box.estimate.rate,
            box.estimate.why,
            tuple(box.estimate.odd),
            box.given,
            box.why,
        )
        for box in watched
    )


@dataclass(frozen=True)
class PartTested:
    """How one part of a box did: ``fine`` is None where it could not be judged."""

    box: str
    part: str
    fine: bool | None
    words: str


@dataclass(frozen=True)
class Tested:
    """The parts of all boxes; ``failed`` are sentences for boxes whose test could not go on."""

    ok: bool
    parts: tuple[PartTested, ...]
    failed: tuple[str, ...]
    others: tuple[Stranger, ...]


def self_test(ask: Ask, buttons: int = 1, ports: list[str] | None = None) -> Tested:
    """Work each part of each box that is idle, one box after another; ``ask`` asks a person."""
    parts: list[PartTested] = []
    failed: list[str] = []
    with open_fleet(ports) as fleet:
        require_box(fleet)
        for connection in fleet.connections:
            test = SelfTest(connection, ask, buttons)
            try:
                test.run()
            except BoxError as error:
                failed.append(str(error))
            label = connection.label
            parts += [PartTested(label, f.part, f.fine, f.words) for f in test.findings]
        others = strangers(fleet)
    fine = all(part.fine for part in parts) and not failed and not others
    return Tested(fine, tuple(parts), tuple(failed), others)
