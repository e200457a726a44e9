"""Numbers and codes as the words a coach reads."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from handbell_core import faults
from handbell_core import timeline as t

ASKS = {
    t.ASK_OPEN: "keep going",
    t.ASK_TARGET: "target",
    t.ASK_HOLD: "hold",
    t.ASK_NONE: "",
}
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
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


def clock_of(ms: int) -> str:
    """Return a length as m:ss, or h:mm:ss from an hour on."""
    s = ms // 1000
    if s >= 3600:
        return f"{s // 3600}:{s // 60 % 60:02d}:{s % 60:02d}"
    return f"{s // 60}:{s % 60:02d}"


def seconds_of(ms: float) -> str:
    """Return a length in seconds with one decimal."""
    return f"{ms / 1000:.1f} s"


def ms_of(us: float) -> str:
    """Return a length of microseconds in ms: with one decimal under 10, whole from there on."""
    return f"{us / 1000:.0f} ms" if us >= 9_950 else f"{us / 1000:.1f} ms"


def percent_of(share: float) -> str:
    """Return a percentage with one decimal."""
    return f"{share:.1f} %"


def short(text: str, most: int = 120) -> str:
    """Return a text that fits a line or two, cut with an ellipsis."""
    return text if len(text) <= most else text[: most - 1] + "…"


def several(count: int, one: str, many: str = "") -> str:
    """Return a count with its noun."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def few(words: Sequence[str], most: int) -> list[str]:
    """Return words, and of more than ``most`` and one how many more; one more is said itself."""
    if len(words) <= most + 1:
        return list(words)
    return [*words[:most], f"{len(words) - most} more"]


def listed(words: Sequence[str]) -> str:
    """Join words as a sentence lists them."""
    if len(words) < 2:
        return "".join(words)
    return ", ".join(words[:-1]) + " and " + words[-1]


def local_time(utc_us: int) -> datetime:
    """Return a UTC instant in this computer's time zone."""
    return datetime.fromtimestamp(utc_us / 1e6).astimezone()


def date_of(utc_us: int) -> str:
    """Return a day and time of day as people write it, without the locale's surprises."""
    at = local_time(utc_us)
    return f"{at.day} {MONTHS[at.month - 1]} {at.year}, {at:%H:%M}"


def day_of(day: date) -> str:
    """Return a day in few letters: "6 Jul"."""
    return f"{day.day} {MONTHS[day.month - 1][:3]}"


def days_of(first: date, last: date) -> str:
    """Return a stretch of days: "3 July to 21 September 2026"."""
    until = f"{last.day} {MONTHS[last.month - 1]} {last.year}"
    if first == last:
        return until
    year = "" if first.year == last.year else f" {first.year}"
    return f"{first.day} {MONTHS[first.month - 1]}{year} to {until}"


def note_of(fault: int, value: int) -> str:
    """Return what a box noted, in words; an unknown code says its number."""
    forms = NOTES.get(fault, ("the box noted fault {fault} ({value})",))
    form = 2 if value == 0 else 0 if value == 1 else 1
    words = forms[min(form, len(forms) - 1)]
    return words.format(fault=fault, value=value, ms=ms_of(value), volts=value / 1000)


def asked_of(ask: int, tap: int, goals: Sequence[int], both_sides: bool = False) -> str:
    """Return what an exercise asked for: "target 10 reps", "hold", "keep going, goal 12"."""
    if tap == t.TAP_NONE:
        return ASKS[ask] + ", not counted"
    goal = "/".join(map(str, goals)) if any(goals) else ""
    sides = ", both sides together" if both_sides else ""
    if ask == t.ASK_TARGET:
        return f"target {goal} reps{sides}"
    if ask == t.ASK_OPEN and goal:
        return f"keep going, goal {goal}{sides}"
    return ASKS[ask] + sides
