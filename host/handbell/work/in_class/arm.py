"""Arming: the start of a class set on every box, or on none; and taken back."""

from __future__ import annotations

import secrets
from collections.abc import Collection
from dataclasses import dataclass

from handbell.base.errors import HandbellError
from handbell.base.words import listed
from handbell.boxes.classes.arm import (
    PAUSES_MS,
    Forecast,
    Readiness,
    forecast,
    remotes_of,
    survey,
    survey_remote,
)
from handbell.boxes.classes.arm import arm as arm_boxes
from handbell.boxes.classes.loaded import LoadedClass
from handbell.boxes.classes.session import Session
from handbell.boxes.classes.starts import REMOTE
from handbell.boxes.classes.stations import StationMap
from handbell.boxes.classes.take_back import take_back
from handbell.boxes.clocks.marks import Walk
from handbell.boxes.clocks.rate import Rate
from handbell.boxes.clocks.skew import HEARD_US, floor_m, heard
from handbell.work.upkeep.plugged_in import (
    Stranger,
    host_clock,
    open_fleet,
    store_or_none,
    strangers,
)
from handbell_core.telegram import KEY_SIZE

from .host_time import doubts
from .starts import start_of

HANDS_OFF_S = 10  # nearer to its start a box is best left alone: whoever pulls a cable may press


@dataclass(frozen=True)
class BoxArmed:
    """A station's box: ``why`` it is not ready, and by how much its clock may be wrong in class.

    Station 0 is the remote. A box that ``follows`` will do what the remote says.
    """

    station: int
    box: str
    ready: bool
    why: tuple[str, ...]
    bound_us: int | None
    rate: Rate | None
    no_rate: str
    odd: tuple[str, ...]
    start_error_us: int | None
    end_error_us: int | None
    follows: bool


@dataclass(frozen=True)
class Skew:
    """By how much boxes may part, with what that means on the floor and what helps.

    ``end_us`` holds as long as gates and waits take no more than ``pauses_s`` in all.
    """

    start_us: int
    end_us: int
    pauses_s: int
    end_floor_m: float
    heard: bool
    remark: str
    cures: tuple[str, ...]


@dataclass(frozen=True)
class Armed:
    """A class that is set, or why not (``failure``); ``led`` says that a remote leads it.

    ``ahead_s`` is how long the start was ahead when it was set; no start in a class that begins on
    the remote's word.
    """

    ok: bool
    title: str
    start_utc_ms: int | None
    start_words: str
    ahead_s: float
    boxes: tuple[BoxArmed, ...]
    skew: Skew
    others: tuple[Stranger, ...]
    failure: str
    remarks: tuple[str, ...]
    led: bool

    @property
    def may_unplug(self) -> bool:
        """Whether there is time to unplug the boxes and hang them up."""
        return self.start_utc_ms is None or self.ahead_s >= HANDS_OFF_S


@dataclass(frozen=True)
class TakenBack:
    """How many boxes will not start by themselves, and which others still may."""

    ok: bool
    boxes: int
    failed: tuple[str, ...]
    others: tuple[Stranger, ...]
    standing: str
    trouble: str


def arm(
    within: str | None = None,
    at: str | None = None,
    without: Collection[int] = (),
    ports: list[str] | None = None,
    store_url: str | None = None,
    by_remote: bool = False,
) -> Armed:
    """Check that every box is ready and set the start on all of them, or none.

    The start is ``within`` so long ("90s", "5m"), ``at`` a time of day, or as soon as can be; or
    ``by_remote``, on its word. A remote that is plugged in gets a new key and leads all that hear.
    Raises HandbellError when nothing was sent, or the start can't be meant.
    """
    host = host_clock()
    session = Session(host.utc_us() // 1000)
    loaded = session.last().without(without)
    soon = start_of(host.utc_us(), within, at)
    failure = ""
    with open_fleet(ports) as fleet, store_or_none(store_url) as (store, clocks):
        table = survey(fleet, loaded, clocks, soon.utc_ms * 1000, _moved(loaded))
        remote = survey_remote(fleet, loaded, clocks, soon.utc_ms * 1000)
        key = secrets.token_bytes(KEY_SIZE) if remote else b""
        if by_remote:
            _require_remote(table, remote)
        start = start_of(host.utc_us(), within, at)
        seen = forecast(table, start.utc_ms)
        table += remote
        utc_ms = 0 if by_remote else start.utc_ms
        try:
            arm_boxes(fleet, table, loaded, utc_ms, session, key)
        except HandbellError as error:
            failure = str(error)
        doubted = doubts(store, fleet.connections, host.utc_us())
        leads = [c.who.id for c in remotes_of(fleet)]
        here = [connection.who.id for connection in fleet.connections]
        ahead_s = max(0.0, start.utc_ms / 1000 - host.utc_us() / 1e6)
        others = tuple(s for s in strangers(fleet) if s.why not in failure)
    remarks = doubted + (_elsewhere(session, here) if failure else _remarks(loaded, session, leads))
    troubles = (session.trouble, session.starts.trouble, clocks.trouble)
    remarks += [words for words in troubles if words]
    if key and not failure:
        remarks += _deaf(table) + _forgetful(remote)
    return Armed(
        not failure,
        loaded.title,
        None if failure or by_remote else start.utc_ms,
        "" if by_remote else start.words,
        ahead_s,
        tuple(_row(row, seen, bool(key)) for row in table),
        _skew(seen),
        others,
        failure,
        tuple(remarks),
        bool(key),
    )


def _require_remote(table: list[Readiness], remote: list[Readiness]) -> None:
    """Raise HandbellError where no remote is there to begin, and note who would not hear it."""
    if not remote:
        raise HandbellError(
            "Nothing was started: no remote is plugged in",
            "Plug it in, or say when the class starts: handbell arm --in 2m",
        )
    for row in table:
        if row.ready and not row.hears:
            row.why.append("can't hear the remote, so it would not begin")


def _deaf(table: list[Readiness]) -> list[str]:
    """Return which boxes will not follow the remote, and what that means."""
    deaf = [row.label for row in table if row.station != REMOTE and not row.hears]
    if not deaf:
        return []
    they = "it goes" if len(deaf) == 1 else "they go"
    how = f"{they} by the clock, and by hand at gates and to stop"
    return [f"{listed(deaf)} can't hear the remote: {how}"]


def _forgetful(remote: list[Readiness]) -> list[str]:
    """Return what becomes of a class if the power of a remote without a clock part fails."""
    return [
        f"{row.label} has no clock part: if its power fails in class, it leads that class no more"
        for row in remote
        if not row.status.clock_part
    ]


def cancel(ports: list[str] | None = None) -> TakenBack:
    """Take a start back on every box that is plugged in; a class that runs goes on."""
    session = Session(host_clock().utc_us() // 1000)
    with open_fleet(ports) as fleet:
        outcomes = take_back(fleet, session)
        others = strangers(fleet)
    failed = tuple(str(o.error) for o in outcomes if o.error is not None)
    standing, trouble = session.starts.words(), session.starts.trouble
    fine = not failed and not others and not standing
    return TakenBack(fine, len(outcomes) - len(failed), failed, others, standing, trouble)


def _moved(loaded: LoadedClass) -> dict[int, str]:
    """Return of each station where another box hangs since it was sent what to do."""
    try:
        hung = StationMap().stations
    except HandbellError:
        return {}
    now = {place.box: n for n, place in hung.items()}
    return {
        n: "is no longer the box of its station, so run handbell send again"
        for n, place in loaded.playing.items()
        if place.box and ((n in hung and hung[n].box != place.box) or now.get(place.box, n) != n)
    }


def _elsewhere(session: Session, here: Collection[str]) -> list[str]:
    """Return what boxes that are not plugged in will do: an arming that failed changes none."""
    words = session.starts.words(but=here)
    return [words] if words else []


def _remarks(loaded: LoadedClass, session: Session, leads: Collection[str]) -> list[str]:
    """Return what a coach should know of a class that is set, and that these remotes lead."""
    others = session.starts.words(but=(*loaded.stations, *leads))
    by_hand = loaded.gates and not leads  # else one hold of the remote passes a gate
    walk = Walk(len(loaded.playing), loaded.grid_s).words() if by_hand else ""
    return ([others] if others else []) + ([f"at a gate, {walk}"] if walk else [])


def _row(row: Readiness, seen: Forecast, led: bool) -> BoxArmed:
    return BoxArmed(
        row.station,
        row.label,
        row.ready,
        tuple(row.why),
        row.sync.bound_us if row.sync else None,
        row.rate,
        row.found.why if row.rate is None else "",
        tuple(row.found.odd),
        seen.start_us.get(row.station),
        seen.end_us.get(row.station),
        led and row.hears and row.station != REMOTE,
    )


def _skew(seen: Forecast) -> Skew:
    return Skew(
        seen.start_skew_us,
        seen.end_skew_us,
        PAUSES_MS // 1000,
        round(floor_m(seen.end_skew_us), 1),
        seen.end_skew_us > HEARD_US,
        heard(seen.end_skew_us),
        tuple(seen.cures),
    )
