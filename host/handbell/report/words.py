"""Numbers and codes as the words a coach reads."""

from __future__ import annotations

from collections.abc import Sequence

from handbell.base.times import ms_of
from handbell_core import faults
from handbell_core import timeline as t

ASKS = {
    t.ASK_OPEN: "keep going",
    t.ASK_TARGET: "target",
    t.ASK_HOLD: "hold",
    t.ASK_NONE: "",
}
# What a box noted: for one, for many, and for none where that is said.
NOTES = {
    faults.LATE_CUE: ("a bell came {ms} late",),
    faults.STORAGE_FULL: (
        "the log was full and 1 record is lost",
        "the log was full and {value} records are lost",
    ),
    faults.EDGES_LOST: ("1 button signal was missed", "{value} button signals were missed"),
    faults.BATTERY_WARNING: (
        "the battery was low ({volts:.2f} V); charge it before the next class",
    ),
    faults.FLASH_ERROR: (
        "the memory for logs failed and 1 record is lost",
        "the memory for logs failed and {value} records are lost",
        "the memory for logs failed for a while, but nothing is lost; use another box",
    ),
    faults.TIMELINE_BROKEN: ("the timeline could not be read to its end",),
    faults.FIRMWARE: (
        "the box's program met 1 error of its own",
        "the box's program met {value} errors of its own",
    ),
}


def faded_by(percent: float | None, at_least: bool) -> str:
    """Return a fade, "" for none; ``at_least``: only a bound is known of a round."""
    return "" if percent is None else f"{percent_of(percent)}{' or more' * at_least}"


def percent_of(share: float) -> str:
    """Return a percentage with one decimal."""
    return f"{share:.1f} %"


def note_of(fault: int, value: int) -> str:
    """Return what a box noted, in words; an unknown code says its number."""
    forms = NOTES.get(fault, ("the box noted fault {fault} ({value})",))
    form = 2 if value == 0 else 0 if value == 1 else 1
    words = forms[min(form, len(forms) - 1)]
    return words.format(fault=fault, value=value, ms=ms_of(value), volts=value / 1000)


def asked_of(ask: int, tap: int, goals: Sequence[int], both_sides: bool = False) -> str:
    """Return what an exercise asked for: "target 10 reps", "hold", "keep going, goal 12"."""
    if ask == t.ASK_NONE:
        return "rest, left out"
    if tap == t.TAP_NONE:
        return ASKS[ask] + ", not counted"
    if tap == t.TAP_LEG:
        return "legs of a relay; a tap handed over"
    goal = "-".join(map(str, goals)) if any(goals) else ""
    sides = ", both sides together" if both_sides else ""
    if ask == t.ASK_TARGET:
        return f"target {goal} reps{sides}"
    if ask == t.ASK_OPEN and goal:
        return f"keep going, goal {goal}{sides}"
    return ASKS[ask] + sides
