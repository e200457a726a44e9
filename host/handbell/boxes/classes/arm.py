"""Setting the class start on every box: all or none."""

from __future__ import annotations

import binascii
from dataclasses import dataclass, field
from typing import Any

from handbell.base.drift import clock_moved
from handbell.base.errors import HandbellError
from handbell.boxes.clocks.clock import Clocks, Sync, wall_ahead
from handbell.boxes.clocks.hostclock import HostClock
from handbell.boxes.clocks.rate import Estimate, Rate
from handbell.boxes.clocks.skew import ClockState, cures, worst_skew_us
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.fleet import Fleet, Outcome
from handbell.boxes.link.words import fault_words
from handbell_core import timeline

from .stations import SentClass, Starts

ROOM_KB = 64
BOUND_US = 20_000  # a clock that may be off by more than this is not good enough


@dataclass
class Readiness:
    """Whether one station's box may be armed; ``why`` names what is not ready."""

    station: int
    label: str
    why: list[str] = field(default_factory=list)
    facts: dict[str, Any] = field(default_factory=dict)
    sync: Sync | None = None
    rate: Rate | None = None  # the one its box goes by
    found: Estimate = field(default_factory=Estimate)
    slot_ms: int = 0  # how long its timeline is, gates as 0

    @property
    def ready(self) -> bool:
        """Whether nothing stands against it."""
        return not self.why

    @property
    def clock(self) -> ClockState | None:
        """How good its clock is, None if it was not measured."""
        if self.sync is None:
            return None
        part = bool(self.facts.get("rtc"))
        return ClockState(self.sync.utc_us, self.sync.bound_us, self.rate, part)


@dataclass
class Forecast:
    """By how much clocks may be wrong when a class starts and ends, by station; and what helps.

    ``start_skew_us`` and ``end_skew_us`` are the worst between any two boxes.
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
    sync = clocks.contact(connection, "arm")
    rate, found = clocks.give(connection, sync, shown_utc_us)
    status = connection.request("status")
    ready = Readiness(station, connection.label, [], status, sync, rate, found)
    if status["sel"] != digest:
        ready.why.append("holds another plan, so run handbell send again")
    if not status["clock"]:
        ready.why.append("has lost its clock")
    elif status["bound_us"] > BOUND_US:
        ready.why.append(f"clock may be off by {status['bound_us'] / 1000:.0f} ms")
    if status["low"]:
        ready.why.append(f"battery low ({status['mv'] / 1000:.2f} V)")
    if status["kb"] < ROOM_KB:
        ready.why.append("no room for a log")
    if status["state"] == "cut":
        ready.why.append("may go on after a power cut, so run the command again in a minute")
    elif status["state"] not in ("ready", "held", "again", "set", "over", "fault"):
        ready.why.append("is in a class")
    if status["fault"]:
        ready.why.append(fault_words(status["fault"]))
    if ready.ready:
        ready.slot_ms = _slot_ms(connection, digest)
    return ready


def _slot_ms(connection: Connection, digest: str) -> int:
    """Return how long a timeline on the box is, from its header."""
    got = connection.request("get", of="timelines", name=digest, at=0, n=timeline.HEADER_SIZE)
    try:
        return timeline.Head.unpack(binascii.a2b_base64(got["b"])).slot_ms
    except timeline.FormatError:
        return 0


def survey(
    fleet: Fleet,
    sent: SentClass,
    clocks: Clocks | None = None,
    shown_utc_us: int | None = None,
) -> list[Readiness]:
    """Set the clocks and return the readiness of every station; boxes are known by their ids.

    A station whose box did not get its part has a row too: a class starts whole or not at all.

    ``shown_utc_us`` is the class start as far as known, for the local time that boxes show.
    """
    clocks = clocks or Clocks()
    stations = _stations(sent)
    asked = [c for c in fleet.connections if c.facts["id"] in stations]

    def one(connection: Connection) -> Readiness:
        station = stations[connection.facts["id"]]
        return readiness(connection, station, sent.timelines[station], clocks, shown_utc_us)

    found: dict[int, Readiness] = {}
    for outcome in fleet.each(one, asked):
        station = stations[outcome.facts["id"]]
        found[station] = outcome.value or Readiness(station, outcome.label, [_why(outcome)])
    missing = "is not plugged in"
    unsent = "was not sent its part, so run handbell send again"
    return [
        found.get(n) or Readiness(n, f"Station {n}", [missing if n in sent.boxes else unsent])
        for n in sorted(sent.timelines)
    ]


def _why(outcome: Outcome[Readiness]) -> str:
    """Return what became of a box as words that follow its label."""
    return str(outcome.error).removeprefix(f"{outcome.label}: ").rstrip(".")


def _stations(sent: SentClass) -> dict[str, int]:
    """Return the station of each box that is to play, by the box's id."""
    return {box: n for n, box in sent.boxes.items() if n in sent.timelines}


def forecast(table: list[Readiness], start_utc_ms: int) -> Forecast:
    """Return how good the clocks of the boxes that are ready will be in the class."""
    known = [(row, row.clock) for row in table if row.ready]
    clocks = {row.station: clock for row, clock in known if clock is not None}
    start_us = start_utc_ms * 1000
    end_us = start_us + max((row.slot_ms for row, _ in known), default=0) * 1000
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
    sent: SentClass,
    start_utc_ms: int,
    starts: Starts | None = None,
) -> None:
    """Set the start on every box of the table, or on none; raises HandbellError with the reason.

    ``starts`` is kept before the first box is asked, and says less only once the boxes answered:
    whatever ends this program, no box has a start that is not in it.
    """
    late = [row for row in table if not row.ready]
    if late:
        standing = [row.label for row in table if row.facts.get("state") == "set"]
        still = f" (an earlier start still stands on {', '.join(standing)})" if standing else ""
        raise HandbellError(
            f"Nothing was started{still}: "
            + "; ".join(f"{row.label} {', '.join(row.why)}" for row in late),
            f"Mend {'it' if len(late) == 1 else 'them'}, or go on without: "
            + " ".join(f"--without {row.station}" for row in late),
        )
    stations = _stations(sent)
    boxes = [c for c in fleet.connections if c.facts["id"] in stations]
    if boxes:
        _refuse_moved(table, boxes[0].clock)

    def one(connection: Connection) -> dict[str, Any]:
        digest = sent.timelines[stations[connection.facts["id"]]]
        return connection.request("arm", d=digest, utc_ms=start_utc_ms)

    before = {row.station: row.facts["utc_ms"] for row in table if "utc_ms" in row.facts}
    if starts is not None:
        for box, n in stations.items():
            starts.expect(box, n, start_utc_ms, *([before[n]] if n in before else []))
        starts.save()
    failed = [o for o in fleet.each(one, boxes) if o.error is not None]
    if failed:
        back = ", and the start that was set before is taken back" if before else ""
        disarm(fleet, boxes, f"Nothing was started{back}: {failed[0].error}", starts)
    if starts is not None:
        starts.drop(list(stations))
        for box, n in stations.items():
            starts.expect(box, n, start_utc_ms)
        starts.save()


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


def disarm(fleet: Fleet, boxes: list[Connection], why: str, starts: Starts | None = None) -> None:
    """Take a start back on these boxes; always raises HandbellError, naming any that may start."""
    outcomes = fleet.each(lambda c: c.request("disarm"), boxes)
    if starts is not None:  # one that refused to start may have done so when it was asked again
        starts.drop([o.facts["id"] for o in outcomes if o.error is None])
        starts.save()
    left = [o for o in outcomes if o.error is not None]
    if left:
        names = ", ".join(o.label for o in left)
        raise HandbellError(
            f"{why} But {names} may still start by itself",
            "Plug it in and run handbell arm --cancel, or switch it off",
        )
    raise HandbellError(why)
