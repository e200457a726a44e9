"""Setting the class start on every box: all or none."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from handbell.boxes.clock import Sync, set_clock
from handbell.boxes.connection import Connection
from handbell.boxes.fleet import Fleet, Outcome
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


def survey(fleet: Fleet, sent: dict[int, str], without: set[int]) -> list[Readiness]:
    """Return the readiness of every station of the class that is not left out."""
    boxes = {int(c.facts["station"]): c for c in fleet.connections}
    wanted = {n: d for n, d in sent.items() if n not in without}
    asked = [boxes[n] for n in wanted if n in boxes]
    outcomes: list[Outcome[Readiness]] = fleet.each(
        lambda c: readiness(c, int(c.facts["station"]), wanted[int(c.facts["station"])]), asked
    )
    found = {int(o.facts["station"]): o for o in outcomes}
    table = []
    for station in sorted(wanted):
        outcome = found.get(station)
        if outcome is None:
            table.append(Readiness(station, f"Station {station}", ["is not plugged in"]))
        elif outcome.value is None:
            table.append(Readiness(station, outcome.label, [str(outcome.error)]))
        else:
            table.append(outcome.value)
    return table


def arm(fleet: Fleet, table: list[Readiness], sent: dict[int, str], start_utc_ms: int) -> None:
    """Set the start on every box of the table, or on none; raises HandbellError with the reason."""
    late = [row for row in table if not row.ready]
    if late:
        first = late[0]
        raise HandbellError(
            f"Nothing was started: {first.label} {'; '.join(first.why)}",
            f"Mend it, or go on without it: --without {first.station}",
        )
    stations = {row.station for row in table}
    boxes = [c for c in fleet.connections if int(c.facts["station"]) in stations]
    outcomes = fleet.each(
        lambda c: c.request("arm", d=sent[int(c.facts["station"])], utc_ms=start_utc_ms), boxes
    )
    failed = [o for o in outcomes if o.error is not None]
    if failed:
        fleet.each(lambda c: c.request("disarm"), boxes)
        raise HandbellError(f"Nothing was started: {failed[0].error}")
