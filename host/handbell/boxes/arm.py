"""Setting the class start on every box: all or none."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from handbell.boxes.clock import Sync, set_clock
from handbell.boxes.connection import Connection
from handbell.boxes.fleet import Fleet
from handbell.boxes.stations import SentClass
from handbell.boxes.words import fault_words
from handbell.errors import HandbellError

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

    @property
    def ready(self) -> bool:
        """Whether nothing stands against it."""
        return not self.why


def readiness(connection: Connection, station: int, digest: str) -> Readiness:
    """Ask a box whether it holds the plan, a good clock, battery and room."""
    sync = set_clock(connection)
    status = connection.request("status")
    ready = Readiness(station, connection.label, facts=status, sync=sync)
    if status["sel"] != digest:
        ready.why.append("holds another plan")
    if not status["clock"]:
        ready.why.append("has lost its clock")
    elif status["bound_us"] > BOUND_US:
        ready.why.append(f"clock may be off by {status['bound_us'] / 1000:.0f} ms")
    if status["low"]:
        ready.why.append(f"battery low ({status['mv'] / 1000:.2f} V)")
    if status["kb"] < ROOM_KB:
        ready.why.append("no room for a log")
    if status["state"] not in ("ready", "set", "over"):
        ready.why.append("is in a class")
    if status["fault"]:
        ready.why.append(fault_words(status["fault"]))
    return ready


def survey(fleet: Fleet, sent: SentClass) -> list[Readiness]:
    """Return the readiness of every station of the class; boxes are known by their ids."""
    stations = {box: n for n, box in sent.boxes.items()}
    asked = [c for c in fleet.connections if c.facts["id"] in stations]

    def one(connection: Connection) -> Readiness:
        station = stations[connection.facts["id"]]
        return readiness(connection, station, sent.timelines[station])

    found: dict[int, Readiness] = {}
    for outcome in fleet.each(one, asked):
        station = stations[outcome.facts["id"]]
        found[station] = outcome.value or Readiness(station, outcome.label, [str(outcome.error)])
    return [
        found.get(n) or Readiness(n, f"Station {n}", ["is not plugged in"])
        for n in sorted(sent.boxes)
    ]


def arm(fleet: Fleet, table: list[Readiness], sent: SentClass, start_utc_ms: int) -> None:
    """Set the start on every box of the table, or on none; raises HandbellError with the reason."""
    late = [row for row in table if not row.ready]
    if late:
        first = late[0]
        standing = [row.label for row in table if row.facts.get("state") == "set"]
        still = f" (an earlier start still stands on {', '.join(standing)})" if standing else ""
        raise HandbellError(
            f"Nothing was started{still}: {first.label} {'; '.join(first.why)}",
            f"Mend it, or go on without it: --without {first.station}",
        )
    stations = {box: n for n, box in sent.boxes.items()}
    boxes = [c for c in fleet.connections if c.facts["id"] in stations]

    def one(connection: Connection) -> dict[str, Any]:
        digest = sent.timelines[stations[connection.facts["id"]]]
        return connection.request("arm", d=digest, utc_ms=start_utc_ms)

    failed = [o for o in fleet.each(one, boxes) if o.error is not None]
    if failed:
        disarm(fleet, boxes, f"Nothing was started: {failed[0].error}")


def disarm(fleet: Fleet, boxes: list[Connection], why: str) -> None:
    """Take a start back on these boxes; always raises HandbellError, naming any that may start."""
    left = [o for o in fleet.each(lambda c: c.request("disarm"), boxes) if o.error is not None]
    if left:
        names = ", ".join(o.label for o in left)
        raise HandbellError(
            f"{why} But {names} may still start by itself",
            "Plug it in and run handbell arm --cancel, or switch it off",
        )
    raise HandbellError(why)
