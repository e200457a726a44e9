"""A class as an iCalendar file (RFC 5545), for any calendar program.

Instants are UTC, so no time zone's rules have to travel with them.
"""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from typing import TYPE_CHECKING

from handbell.base.digest import whole_hex
from handbell.base.times import clock
from handbell.plan.own_tasks import own_list

from .cards import own_words, rounds_words, whole_task

if TYPE_CHECKING:
    from handbell.compile import CompiledClass
    from handbell.plan.model import Exercise
    from handbell.plan.own_tasks import Tasks

LINE_MOST = 75  # octets, without the line's end
_EPOCH = datetime(1970, 1, 1, tzinfo=timezone.utc)
_ESCAPES = str.maketrans({"\\": "\\\\", ";": "\\;", ",": "\\,", "\n": "\\n"})


def calendar(built: CompiledClass, start_utc_ms: int, stamp_utc_ms: int, caution: str) -> bytes:
    """Return a calendar with one event, from the class start to the end of the cool-down.

    ``stamp_utc_ms`` says when this was written. The same title at the same start is the same event
    to a calendar program, so a changed plan takes the place of the old one there.
    """
    totals = built.totals
    lines = (
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Handbell//Handbell//EN",
        "CALSCALE:GREGORIAN",
        "BEGIN:VEVENT",
        f"UID:{uid(built.plan.title, start_utc_ms)}",
        f"DTSTAMP:{_instant(stamp_utc_ms)}",
        f"LAST-MODIFIED:{_instant(stamp_utc_ms)}",
        f"DTSTART:{_instant(start_utc_ms)}",
        f"DTEND:{_instant(-(-(start_utc_ms + totals.slot_ms) // 1000) * 1000)}",
        f"SUMMARY:{_text(built.plan.title)}",
        f"DESCRIPTION:{_text(_description(built, caution))}",
        "END:VEVENT",
        "END:VCALENDAR",
    )
    return b"".join(_folded(line) for line in lines)


def uid(title: str, start_utc_ms: int) -> str:
    """Return what names an event for ever, the same whenever it is asked."""
    key = f"handbell class\0{title}\0{start_utc_ms // 1000}"
    return f"{whole_hex(key.encode())[:32]}@handbell.invalid"


def _instant(utc_ms: int) -> str:
    return f"{_EPOCH + timedelta(seconds=utc_ms // 1000):%Y%m%dT%H%M%SZ}"


def _text(text: str) -> str:
    kept = "".join(c for c in text if c == "\n" or c.isprintable())
    return kept.translate(_ESCAPES)


def _folded(line: str) -> bytes:
    """Return a line cut into lines of at most 75 octets, never within a letter."""
    pieces: list[bytes] = [b""]
    for letter in line:
        encoded = letter.encode("utf-8")
        room = LINE_MOST - (len(pieces) > 1)
        if len(pieces[-1]) + len(encoded) > room:
            pieces.append(b"")
        pieces[-1] += encoded
    return b"\r\n ".join(pieces) + b"\r\n"


def _description(built: CompiledClass, caution: str) -> str:
    plan, schedule = built.plan, built.schedule
    lines: list[str] = []
    lines += [f"{clock(part.work_ms)} {part.name}" for part in plan.opening]
    for b, block in enumerate(plan.blocks):
        gate = "When the coach is ready: " if block.gate else ""
        name = block.name or f"Block {b + 1}"
        title = ", ".join(words for words in (name, rounds_words(block)) if words)
        exercises = ", ".join(_named(schedule.asked(b, e)) for e in range(len(block.exercises)))
        lines.append(f"{gate}{title}: {exercises}")
    lines += [f"{clock(part.work_ms)} {part.name}" for part in plan.cool_down]
    if any(block.gate for block in plan.blocks):
        lines.append("Waits for the coach are not counted in the length.")
    return "\n".join([*lines, caution])


def _named(tasks: Tasks[Exercise]) -> str:
    """Return an exercise and what single bibs do instead: ``Push-up (bib 8: Knee push-up)``."""
    own = own_list(own_words(tasks))
    listed = whole_task(tasks.most) if tasks.most.parts else ""
    also = "; ".join(words for words in (listed, own) if words)
    return f"{tasks.most.name} ({also})" if also else tasks.most.name
