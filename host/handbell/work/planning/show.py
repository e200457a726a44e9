"""Laying a plan out as a timetable, and writing it for other programs."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import datetime, timezone, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from handbell.base.errors import UsageError
from handbell.base.files import write_whole
from handbell.base.wall import resolved
from handbell.compile.build import CompiledClass, Totals
from handbell.compile.timetable import BoxRow, Row, box_rows
from handbell.paper.calendar import calendar
from handbell.paper.out_files import require_apart
from handbell.paper.sheet import box_sheet, class_sheet
from handbell.plan.parts import parts_words

from .numbers import earned_words
from .plans import CAUTION, compiled, require_station
from .whereabouts import Whereabouts, whereabouts


@dataclass(frozen=True)
class Parts:
    """An exercise that is a list gone through, and what a round of it is, or its legs are."""

    name: str
    parts: str
    unit: str


@dataclass(frozen=True)
class Shown:
    """A timetable: the class's ``rows``, or with ``station`` those of one box.

    ``labels`` are the stations'. ``earned`` says what is rest besides the pauses, and for whom.
    ``starts`` says when the event of a calendar that was written begins.
    """

    title: str
    plan: str
    layout: str
    totals: Totals
    warnings: tuple[str, ...]
    station: int | None
    label: str
    labels: tuple[str, ...]
    rows: tuple[Row, ...] | tuple[BoxRow, ...]
    lists: tuple[Parts, ...]
    earned: str
    written: tuple[str, ...]
    starts: str
    where: Whereabouts | None


@dataclass(frozen=True)
class Calendar:
    """An iCalendar file to write: the start on the wall, in a zone's time or this computer's."""

    path: Path
    at: datetime
    zone: str | None = None


def show(
    plan: Path,
    station: int | None = None,
    csv: Path | None = None,
    event: Calendar | None = None,
) -> Shown:
    """Return the timetable of a class, or of one box; write it as a table and as a calendar.

    Raises PlanError, and UsageError for a station, zone or day that isn't there.
    """
    ics = event.path if event else None
    require_apart(plan, csv, ics)
    built = compiled(plan)
    if station is not None:
        require_station(plan, built, station)
    timeline = built.timelines[station - 1] if station else None
    box = tuple(box_rows(timeline.data)) if timeline else ()
    starts = _write_calendar(event, built) if event else ""
    if csv is not None:
        write_whole(csv, box_sheet(box) if timeline else class_sheet(built), own_sort=True)
    return Shown(
        built.plan.title,
        built.plan.digest.hex(),
        built.plan.layout,
        built.totals,
        tuple(built.warnings),
        station,
        timeline.label if timeline else "",
        tuple(built.plan.label(n) for n in range(len(built.timelines))),
        box if timeline else tuple(built.timetable),
        _lists(built),
        earned_words(built, station),
        tuple(str(path) for path in (ics, csv) if path),
        starts,
        None if timeline else whereabouts(built),
    )


def _lists(built: CompiledClass) -> tuple[Parts, ...]:
    """Return the exercises that are lists gone through, each once."""
    exercises = (e for block in built.plan.blocks for e in block.exercises if e.parts)
    found = dict.fromkeys((e.name, parts_words(e.parts), e.unit) for e in exercises)
    return tuple(Parts(*one) for one in found)


def _write_calendar(event: Calendar, built: CompiledClass) -> str:
    utc_s, wall, odd = resolved(event.at, 0, _zone(event.zone))
    utc = datetime.fromtimestamp(utc_s, timezone.utc)
    data = calendar(built, round(utc_s) * 1000, time.time_ns() // 1_000_000, CAUTION)
    write_whole(event.path, data, own_sort=True)
    return f"{wall:%Y-%m-%d %H:%M} ({utc:%H:%M} UTC){'; ' * bool(odd)}{odd}"


def _zone(name: str | None) -> tzinfo | None:
    try:
        return ZoneInfo(name) if name else None
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise UsageError(
            f"There is no time zone {name}", "Say it like Europe/Lisbon, or UTC"
        ) from None


@dataclass(frozen=True)
class InFull:
    """A plan's text with its blocks in a short form written out; ``written`` says where to."""

    plan: str
    written: str | None


def in_full(plan: Path, out: Path | None = None) -> InFull:
    """Write out the short forms of a plan, into a new file if one is named; raises PlanError."""
    from handbell.coach.writing.edit import read_plan, write_plan
    from handbell.coach.writing.written_out import written_out

    full = written_out(read_plan(plan), str(plan))
    if out is not None:
        write_plan(out, full, None)
    return InFull(full.decode("utf-8"), None if out is None else str(out))
