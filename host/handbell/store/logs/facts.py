"""What a run's journal comes to besides its counts: the facts of its row, and its notes."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, delete

from handbell.base.words import several
from handbell.store.database import tables
from handbell.store.database.bulk import insert_rows
from handbell_core import journal as j

from . import chains, timelines
from .journals import Journal
from .recount import Recounted


def facts_of(found: Journal) -> dict[str, Any]:
    """Return the columns of a run's row that its journal tells."""
    return {
        "state": found.state,
        "reason": found.reason,
        "clock": "lost" if found.start_utc_us is None else "ok",
        "start_utc_us": found.start_utc_us,
        "started_by": found.started_by,
        "led_key": found.led_key,
        "stopped": found.stopped,
        "end_class_ms": found.end_class_ms,
        "late_cues": found.late_cues,
        "worst_late_us": found.worst_late_us,
        "broken": found.broken,
        "battery_mv": found.battery_mv,
        "bound_us": found.bound_us,
        **chains.of_run(found.chains, found.start_utc_us, found.end_utc_us),
    }


def mismatches_of(found: Journal, timeline: timelines.Timeline, counted: Recounted) -> list[str]:
    """Return a sentence for each thing in which a log is odd, or differs from the recount."""
    return _odd(found, timeline) + counted.mismatches + _end_mismatch(found)


def note(conn: Connection, run: int, found: Journal, mismatches: list[str]) -> None:
    """Keep what the box noted and what was found to differ, instead of what was kept before."""
    conn.execute(delete(tables.notes).where(tables.notes.c.run == run))
    noted = [(class_ms, fault, value, "") for class_ms, fault, value in found.notes]
    said = [(found.end_class_ms, 0, 0, words) for words in mismatches]
    insert_rows(conn, tables.notes, [(n, *one) for n, one in enumerate(noted + said)], run)


def _odd(found: Journal, timeline: timelines.Timeline) -> list[str]:
    said = []
    if found.assumed:
        said.append(
            f"The log's first record is damaged. By all others it is of {timeline.title}, "
            f"station {timeline.station}, and so it was read"
        )
    if found.odd_times:
        said.append(f"{found.odd_times} of the log's records tell a time that can't be: left out")
    if found.repeated:
        presses = several(found.repeated, "press", "presses")
        said.append(f"The log tells {presses} twice: counted once")
    return said


def _end_mismatch(found: Journal) -> list[str]:
    if found.taps_told is None or found.end_cause == j.BY_CUT:
        return []
    have = sum(record[0] == j.TAP for record in found.records)
    if have == found.taps_told:
        return []
    return [f"The box counted {found.taps_told} taps in all, its log holds {have}"]
