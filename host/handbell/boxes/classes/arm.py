"""Setting the class start on every box, and on the remote that leads: all or none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from handbell.base.drift import clock_moved
from handbell.base.errors import HandbellError
from handbell.base.words import listed
from handbell.boxes.clocks.clock import Clocks, Sync, wall_ahead
from handbell.boxes.clocks.rate import Estimate, Rate
from handbell.boxes.clocks.skew import ClockState, cures, worst_skew_us
from handbell.boxes.link.connection import Connection, InUseError
from handbell.boxes.link.fleet import Fleet, Outcome
from handbell.boxes.link.hostclock import HostClock
from handbell.boxes.link.messages import Status
from handbell.boxes.link.replies import ARM, GET, STATUS, strange
from handbell.boxes.link.words import fault_words
from handbell_core import timeline

from .loaded import LoadedClass, Place
from .session import Session
from .starts import ON_WORD, REMOTE
from .take_back import undo

ROOM_KB = 64
IDLE = ("ready", "held", "again", "set", "awaits", "over", "fault")
SET_WITHIN_MS = 5  # of what a box was told, it may say to start: its clock runs at its own rate
PAUSES_MS = 600_000  # what gates and waits may take for what is told of a class to hold
BOUND_US = 20_000  # a clock that may be off by more than this is not good enough


@dataclass
class Readiness:
    """Whether one station's box may be armed; ``why`` names what is not ready.

    Station 0 is a remote.
    """

    station: int
    label: str
    why: list[str] = field(default_factory=list)
    status: Status = field(default_factory=Status)
    sync: Sync | None = None
    rate: Rate | None = None  # the one its box goes by
    found: Estimate = field(default_factory=Estimate)
    slot_ms: int = 0  # how long its timeline is, gates as 0
    hears: bool = False  # it can follow a remote

    @property
    def ready(self) -> bool:
        """Whether nothing stands against it."""
        return not self.why

    @property
    def clock(self) -> ClockState | None:
        """How good its clock is, None if it was not measured."""
        if self.sync is None:
            return None
        part = self.status.clock_part
        return ClockState(self.sync.utc_us, self.sync.bound_us, self.rate, part)

    @property
    def in_class(self) -> bool:
        """Whether a class runs on it, which nothing else matters beside."""
        return bool(self.status.state) and self.status.state not in (*IDLE, "empty", "cut")


@dataclass
class Forecast:
    """By how much clocks may be wrong when a class starts and ends, by station; and what helps.

    The end is as late as it is with ``PAUSES_MS`` of waiting. ``start_skew_us`` and
    ``end_skew_us`` are the worst between any two boxes.
    """

    start_us: dict[int, int]
    end_us: dict[int, int]
    start_skew_us: int
    end_skew_us: int
    cures: list[str]


def readiness(
    connection: Connection,
    station: int,
    digest: str,
    clocks: Clocks,
    shown_utc_us: int | None = None,
) -> Readiness:
    """Set a box's clock, and ask whether it holds the plan, a good clock, battery and room."""
    status = connection.ask(STATUS)
    ready = Readiness(station, connection.label, [], status, hears=connection.who.hears)
    if ready.in_class:
        ready.why.append("is in a class")
        return ready
    ready.sync = clocks.contact(connection, "arm")
    ready.rate, ready.found = clocks.give(connection, ready.sync, shown_utc_us)
    ready.status = status = connection.ask(STATUS)
    if status.state == "cut":
        ready.why.append("may go on after a power cut, so run the command again in a minute")
    if status.selected != digest:
        ready.why.append("holds another plan, so run handbell send again")
    if status.bound_us is None:
        ready.why.append("has lost its clock")
    elif status.bound_us > BOUND_US:
        ready.why.append(f"clock may be off by {status.bound_us / 1000:.0f} ms")
    if status.low:
        ready.why.append(f"battery low ({status.battery_mv / 1000:.2f} V)")
    if status.room_kb < ROOM_KB:
        ready.why.append("no room for a log")
    if status.fault:
        ready.why.append(fault_words(status.fault))
    if ready.ready:
        ready.slot_ms = _slot_ms(connection, digest)
    return ready


def _slot_ms(connection: Connection, digest: str) -> int:
    """Return how long a timeline on the box is, from its header."""
    head = connection.ask(GET, of="timelines", name=digest, at=0, n=timeline.HEADER_SIZE)
    try:
        return timeline.Head.unpack(head).slot_ms
    except timeline.FormatError:
        return 0


def survey(
    fleet: Fleet,
    loaded: LoadedClass,
    clocks: Clocks | None = None,
    shown_utc_us: int | None = None,
    moved: Mapping[int, str] | None = None,
) -> list[Readiness]:
    """Set the clocks and return the readiness of every station; boxes are known by their ids.

    A station whose box did not get its part has a row too: a class starts whole or not at all.

    ``shown_utc_us`` is the class start as far as known, for the local time that boxes show;
    ``moved`` says of stations why their box is not the one that hangs there.
    """
    clocks = clocks or Clocks()
    stations = loaded.stations
    asked = [c for c in fleet.connections if c.who.id in stations and not c.who.remote]

    def one(connection: Connection) -> Readiness:
        n = stations[connection.who.id]
        return readiness(connection, n, loaded.places[n].digest, clocks, shown_utc_us)

    found: dict[int, Readiness] = {}
    for outcome in fleet.each(one, asked):
        n = stations[outcome.who.id]
        found[n] = outcome.value or Readiness(n, outcome.label, [why_failed(outcome)])
    table = [found.get(n) or _absent(fleet, n, place) for n, place in loaded.playing.items()]
    for row in table:
        if moved and row.station in moved:
            row.why.append(moved[row.station])
    return table


def survey_remote(
    fleet: Fleet, loaded: LoadedClass, clocks: Clocks, shown_utc_us: int | None = None
) -> list[Readiness]:
    """Return the same of the remote that is plugged in, no row when none is."""
    remotes = remotes_of(fleet)
    if len(remotes) > 1:
        why = f"is one of {len(remotes)} that are plugged in, so unplug all others"
        return [Readiness(REMOTE, remotes[0].label, [why])]

    def one(connection: Connection) -> Readiness:
        return readiness(connection, REMOTE, loaded.remote, clocks, shown_utc_us)

    return [
        outcome.value or Readiness(REMOTE, outcome.label, [why_failed(outcome)])
        for outcome in fleet.each(one, remotes)
    ]


def remotes_of(fleet: Fleet) -> list[Connection]:
    """Return the remotes that are plugged in."""
    return [connection for connection in fleet.connections if connection.who.remote]


def _absent(fleet: Fleet, station: int, place: Place) -> Readiness:
    if not place.box:
        why = "was not sent its part, so run handbell send again"
    elif isinstance(fleet.hiding, InUseError):
        why = "does not show, and a port is in use by another program"
    elif fleet.hiding is not None:
        why = "does not show, and a port may hide it"
    else:
        why = "is not plugged in"
    return Readiness(station, f"Station {station}", [why])


def why_failed(outcome: Outcome[Any]) -> str:
    """Return what became of a box as words that follow its label."""
    return str(outcome.error).removeprefix(f"{outcome.label}: ").rstrip(".")


def forecast(table: list[Readiness], start_utc_ms: int) -> Forecast:
    """Return how good the clocks of the boxes that are ready will be in the class."""
    known = [(row, row.clock) for row in table if row.ready and row.station != REMOTE]
    clocks = {row.station: clock for row, clock in known if clock is not None}
    start_us = start_utc_ms * 1000
    slot_ms = max((row.slot_ms for row, _ in known), default=0)
    end_us = start_us + (slot_ms + PAUSES_MS) * 1000
    at_start = {n: clock.error_us(start_us) for n, clock in clocks.items()}
    at_end = {n: clock.error_us(end_us) for n, clock in clocks.items()}
    now_us = max((clock.utc_us for clock in clocks.values()), default=0)
    return Forecast(
        at_start,
        at_end,
        worst_skew_us(list(at_start.values())),
        worst_skew_us(list(at_end.values())),
        cures(list(clocks.values()), now_us, start_us, end_us) if clocks else [],
    )


def arm(
    fleet: Fleet,
    table: list[Readiness],
    loaded: LoadedClass,
    start_utc_ms: int,
    session: Session | None = None,
    key: bytes = b"",
) -> None:
    """Set the start on every box of the table, or on none; raises HandbellError with the reason.

    With ``key`` the remote leads all boxes that hear it; a start of 0 is its word, and not a time.
    ``session`` notes it before the first box is asked, and says less only once the boxes answered:
    whatever ends this program, no box has a start that is not kept.
    """
    _refuse_unready(fleet, table)
    stations = loaded.stations
    boxes = [c for c in fleet.connections if c.who.id in stations and not c.who.remote]
    remotes = remotes_of(fleet) if key else []
    if boxes:
        _refuse_moved(table, boxes[0].clock)
    leading = [c.who.id for c in remotes]
    by_station = {row.station: _start_of(row.status) for row in table}
    before = {
        box: ms
        for box, n in (stations | dict.fromkeys(leading, REMOTE)).items()
        if (ms := by_station.get(n)) is not None
    }  # what a box may be set to already
    if session is not None:
        session.arming(loaded, start_utc_ms, before, leading)
    back = ", and the start that was set before is taken back" if before else ""
    try:
        failed: list[Outcome[None]] = []
        for some in (boxes, remotes):  # the remote last: it speaks of no class that failed
            if not failed:
                outcomes = fleet.each(lambda c: set_start(c, loaded, start_utc_ms, key), some)
                failed = [o for o in outcomes if o.error is not None]
    except KeyboardInterrupt:
        undo(fleet, boxes + remotes, f"Nothing was started{back}.", session)
        raise
    if failed:
        why = f"Nothing was started{back}: {failed[0].error}"
        undo(fleet, boxes + remotes, why, session)
        raise HandbellError(why)
    if session is not None:
        session.armed(loaded, start_utc_ms, key.hex(), leading)


def _start_of(status: Status) -> int | None:
    return ON_WORD if status.state == "awaits" else status.start_utc_ms


def set_start(
    connection: Connection, loaded: LoadedClass, start_utc_ms: int, key: bytes = b""
) -> None:
    """Set the start of a box or a remote, and see that it is set; raises BoxError."""
    who = connection.who
    digest = loaded.remote if who.remote else loaded.places[loaded.stations[who.id]].digest
    led: dict[str, Any] = {}
    if key and (who.remote or who.hears):
        led = {"key": key.hex(), "stations": max(loaded.places)}
    connection.ask(ARM, d=digest, utc_ms=start_utc_ms, **led)
    status = connection.ask(STATUS)
    said_ms = status.start_utc_ms
    is_right = said_ms is None or abs(said_ms - start_utc_ms) <= SET_WITHIN_MS
    if status.selected != digest or not is_right or status.state in ("ready", "over", "empty"):
        raise strange(connection.label)


def _refuse_unready(fleet: Fleet, table: list[Readiness]) -> None:
    """Raise HandbellError when a box is not ready, with what helps and nothing else."""
    late = [row for row in table if not row.ready]
    if not late:
        return
    standing = [row.label for row in table if row.status.state in ("set", "awaits")]
    still = f" (an earlier start still stands on {', '.join(standing)})" if standing else ""
    what = f"Nothing was started{still}: "
    in_class = [row for row in late if row.in_class]
    hiding = fleet.hiding
    if in_class:
        names = listed(row.label for row in in_class)
        raise HandbellError(
            f"{what}a class runs on {names}",
            "Wait until it is over, or stop it at the boxes",
        )
    if hiding is not None:
        raise HandbellError(f"{what}{hiding.what}", hiding.remedy)
    ways = [f"--without {row.station}" for row in late if row.station != REMOTE]
    without = f", or go on without: {' '.join(ways)}" if ways else ""
    if len(ways) < len(late):
        without += ", or unplug the remote and go on without it"
    raise HandbellError(
        what + "; ".join(f"{row.label} {', '.join(row.why)}" for row in late),
        f"Mend {'it' if len(late) == 1 else 'them'}{without}",
    )


def _refuse_moved(table: list[Readiness], clock: HostClock) -> None:
    """Refuse when the computer's clock was moved after a box was set: the start is UTC."""
    ahead_us, doubt_us = wall_ahead(clock)
    now_us = clock.utc_us()
    for row in table:
        if row.sync is None:
            continue
        since_us = abs(now_us - row.sync.utc_us) + doubt_us
        if clock_moved(row.sync.ahead_us, ahead_us, since_us):
            raise HandbellError(
                "Nothing was started: this computer's clock was changed after the boxes were set",
                "Run the command again",
            )
