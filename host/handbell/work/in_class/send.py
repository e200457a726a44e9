"""Sending: a plan's timelines onto the boxes, and their clocks set."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from handbell.base.errors import HandbellError, StoreError
from handbell.base.progress import Progress, no_progress
from handbell.base.words import listed
from handbell.boxes.classes.loaded import LoadedClass
from handbell.boxes.classes.send import Load, Sent, make_spares, pair
from handbell.boxes.classes.send import send as send_loads
from handbell.boxes.classes.session import Session
from handbell.boxes.classes.stations import StationMap
from handbell.boxes.clocks.clock import Clocks
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.fleet import Fleet, Outcome
from handbell.compile import build
from handbell.compile.build import BoxTimeline
from handbell.compile.hall import with_hall
from handbell.compile.timelines import REMOTE_BUTTONS
from handbell.plan.files import load_plan
from handbell.plan.model import Plan
from handbell.store.halls.known import put_hall
from handbell.store.halls.own import Hall, made_hall
from handbell.store.store import Store
from handbell.work.upkeep.plugged_in import (
    Stranger,
    host_clock,
    open_fleet,
    store_or_none,
    strangers,
)

from .host_time import doubts


@dataclass(frozen=True)
class BoxSent:
    """What one box got, and ``why`` it failed; ``bound_us`` is by how much its clock may be off."""

    ok: bool
    station: int
    box: str
    port: str
    digest: str
    bytes: int
    already: bool
    bound_us: int | None
    why: str


@dataclass(frozen=True)
class ClassSent:
    """What came of sending a class; ``starts`` are sentences about starts, set and taken back.

    ``trouble`` says why arming would go by what was sent before, "" when it goes by this;
    ``remotes`` are those that were plugged in.
    """

    ok: bool
    title: str
    boxes: tuple[BoxSent, ...]
    others: tuple[Stranger, ...]
    warnings: tuple[str, ...]
    starts: tuple[str, ...]
    trouble: str
    remotes: tuple[BoxSent, ...]


def send(
    path: Path,
    without: Collection[int] = (),
    ports: list[str] | None = None,
    store_url: str | None = None,
    progress: Progress = no_progress,
) -> ClassSent:
    """Compile a plan and put each station's timeline on its box, but for those left out.

    Raises HandbellError when the plan has faults or a station has no box, before anything is sent.
    """
    plan = load_plan(path)
    built = build(plan)
    hall, doubt = _hall()
    timelines = [with_hall(one, hall.number) if hall else one for one in built.timelines]
    loads = [_load(timeline, built.buttons) for timeline in timelines]
    warnings = [*built.warnings, *doubt]
    with open_fleet(ports) as fleet, store_or_none(store_url) as (store, clocks):
        stations = StationMap()
        pairs = pair(fleet, loads, stations, without)
        remote = _load(built.remote, REMOTE_BUTTONS)
        loaded = _loaded(plan, loads, pairs, without, remote.digest)
        warnings += _kept(store, plan, timelines, hall)
        outcomes = send_loads(fleet, loads, stations, without, progress, remote)
        make_spares(fleet, stations)
        _give_rates(fleet, outcomes, clocks)
        warnings += [clocks.trouble] if clocks.trouble not in ("", *warnings) else []
        warnings += doubts(store, fleet.connections, host_clock().utc_us())
        others = strangers(fleet)
    leading = [o for o in outcomes if o.who.remote]
    outcomes = [o for o in outcomes if not o.who.remote]
    got = {o.who.id: o.label for o in outcomes if o.value is not None}
    session = Session(host_clock().utc_us() // 1000)
    failed = {o.who.id for o in outcomes if o.error is not None}
    led = {o.who.id: o.label for o in leading if o.value is not None}
    taken_back = session.sent(loaded, set(got), failed, set(led))
    told = (*outcomes, *leading)
    taken_back += [o.who.id for o in told if o.value is not None and o.value.had_start]
    starts = [session.starts.words(), session.starts.trouble]
    if taken_back:
        labels = listed(label for box, label in (got | led).items() if box in taken_back)
        starts.insert(0, f"the start that was set is taken back on {labels}")
    trouble = session.trouble or ("" if got else _before(session))
    fine = not trouble and all(o.error is None for o in (*outcomes, *leading))
    rows = tuple(_row(loaded.stations[o.who.id], o) for o in outcomes)
    remotes = tuple(_row(built.remote.station, o) for o in leading)
    said = tuple(words for words in starts if words)
    return ClassSent(fine, plan.title, rows, others, tuple(warnings), said, trouble, remotes)


def _load(timeline: BoxTimeline, buttons: int) -> Load:
    digest = timeline.digest.hex()
    return Load(timeline.station, timeline.label, digest, timeline.data, buttons)


def _loaded(
    plan: Plan,
    loads: list[Load],
    pairs: list[tuple[Connection, Load]],
    without: Collection[int],
    remote: str,
) -> LoadedClass:
    timelines = {load.station: load.digest for load in loads}
    boxes = {load.station: connection.who.id for connection, load in pairs}
    gates = sum(block.gate for block in plan.blocks)
    return LoadedClass.of(plan.title, timelines, boxes, gates, plan.grid_s, remote).without(without)


def _hall() -> tuple[Hall | None, list[str]]:
    """Return the hall of this computer, drawn now if it has none; else why there is none.

    A class does without: then it is told apart from others by the rules alone.
    """
    try:
        return made_hall(), []
    except HandbellError as error:
        return None, [f"{error} This class is sent without a hall"]


def _kept(
    store: Store | None, plan: Plan, timelines: list[BoxTimeline], hall: Hall | None
) -> list[str]:
    """Keep plan and timelines in the store; return what hinders it: the boxes have them too."""
    if store is None:
        return []
    try:
        store.put_plan(plan.source, plan.title)
        for timeline in timelines:
            store.put_timeline(timeline.data)
        if hall is not None:
            put_hall(store, hall)
    except StoreError as error:
        return [str(error)]
    return []


def _give_rates(fleet: Fleet, outcomes: list[Outcome[Sent]], clocks: Clocks) -> None:
    """Keep the contacts of a sending, and give each box the rate that all contacts say."""
    syncs = {
        o.url: o.value.sync
        for o in outcomes
        if o.error is None and o.value is not None and o.value.sync is not None
    }

    def one(connection: Connection) -> None:
        clocks.keep(connection, syncs[connection.url], "send")
        clocks.give(connection, syncs[connection.url])

    by_url = {o.url: o for o in outcomes}
    for after in fleet.each(one, [c for c in fleet.connections if c.url in syncs]):
        by_url[after.url].error = after.error


def _before(session: Session) -> str:
    """Return what arming still goes by when no box took its part."""
    try:
        return f"No box took its part. handbell arm still goes by {session.last().title}."
    except HandbellError:
        return "No box took its part."


def _row(station: int, outcome: Outcome[Sent]) -> BoxSent:
    sent = outcome.value
    return BoxSent(
        outcome.error is None,
        station,
        outcome.label,
        outcome.url,
        sent.digest if sent else "",
        sent.size if sent else 0,
        bool(sent and sent.already),
        sent.sync.bound_us if sent and sent.sync else None,
        str(outcome.error or ""),
    )
