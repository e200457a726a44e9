"""``show``: a plan as a timetable, for people, box by box, or for other programs."""

from __future__ import annotations

import argparse
import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.base.errors import UsageError
from handbell.base.times import clock
from handbell.cli.numbers import numbers_facts, print_numbers
from handbell.cli.plans import (
    CAUTION,
    compiled,
    library_argument,
    plan_argument,
    plan_facts,
    print_warnings,
)
from handbell.cli.render import Result

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rich.console import Console

    from handbell.compile.build import CompiledClass
    from handbell.compile.timetable import BoxRow, Row


def show_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``show``."""
    plan_argument(parser)
    parser.add_argument("--box", type=int, metavar="N", help="only what the box of station N plays")
    parser.add_argument("--csv", type=Path, metavar="FILE", help="write the timetable as CSV")
    parser.add_argument(
        "--calendar", type=Path, metavar="FILE", help="write an iCalendar file; needs --at"
    )
    parser.add_argument(
        "--at", metavar="WHEN", help='when the class starts: 18:00, or "2026-12-01 18:00"'
    )
    parser.add_argument(
        "--zone", metavar="NAME", help="the time zone of --at (default: this computer's)"
    )
    parser.add_argument(
        "--expanded",
        action="store_true",
        help="print the plan itself, blocks in a short form written out",
    )
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="with --expanded: write it to a new file instead"
    )
    library_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell show monday.toml\n"
        "  handbell show monday.toml --box 3\n"
        "  handbell show monday.toml --csv monday.csv\n"
        "  handbell show monday.toml --expanded --out monday-in-full.toml\n"
        '  handbell show monday.toml --calendar monday.ics --at "2026-12-01 18:00"'
    )


def show_run(args: argparse.Namespace) -> Result:
    """Lay a plan out as a timetable, and write it for other programs."""
    if args.expanded:
        return _expanded(args)
    if args.out is not None:
        raise UsageError("--out goes with --expanded", "Add it, or write a table with --csv")
    from handbell.coach.library.shelf import load_library
    from handbell.coach.numbers.numbers import numbers_of
    from handbell.compile.timetable import box_rows
    from handbell.paper.out_files import require_apart

    require_apart(args.plan, args.csv, args.calendar)
    built = compiled(args.plan)
    boxes = len(built.timelines)
    if args.box is None:
        rows: Sequence[Row | BoxRow] = built.timetable
        numbers = numbers_of(built, load_library(args.library))
        facts = plan_facts(built) | {"numbers": numbers_facts(numbers)}
    elif 1 <= args.box <= boxes:
        timeline = built.timelines[args.box - 1]
        rows, numbers = box_rows(timeline.data), None
        facts = plan_facts(built) | {"station": timeline.station, "label": timeline.label}
    else:
        raise UsageError(
            f"{args.plan} has no box {args.box}",
            f"Name a station from 1 to {boxes}" if boxes > 1 else "It has one box, --box 1",
        )
    facts["lists"] = _lists(built)
    facts["rows"] = [dataclasses.asdict(row) for row in rows]
    said = [*_write_calendar(args, built), *_write_sheet(args, built)]
    facts["written"] = [str(path) for path in (args.calendar, args.csv) if path is not None]

    def text(out: Console) -> None:
        _print_show(built, args.box, rows, out)
        for one in facts["lists"]:
            out.print(f"A round of {one['name']}: {one['parts']}", markup=False)
        if numbers is not None:
            print_numbers(numbers, out)
        print_warnings(built.warnings, out)
        for words in said:
            out.print(words, markup=False)

    return Result(facts, text)


def _lists(built: CompiledClass) -> list[dict[str, str]]:
    """Return the exercises that are lists gone through, each once, with their parts."""
    from handbell.plan.parts import parts_words

    exercises = (e for block in built.plan.blocks for e in block.exercises if e.parts)
    found = dict.fromkeys((e.name, parts_words(e.parts)) for e in exercises)
    return [{"name": name, "parts": parts} for name, parts in found]


def _expanded(args: argparse.Namespace) -> Result:
    from handbell.coach.writing.edit import read_plan, write_plan
    from handbell.coach.writing.written_out import written_out

    other = ("box", "csv", "calendar", "at", "zone")
    if any(getattr(args, name) is not None for name in other):
        raise UsageError(
            "--expanded is the plan itself, without a timetable", "Ask for one at a time"
        )
    full = written_out(read_plan(args.plan), str(args.plan))
    facts: dict[str, Any] = {"plan": full.decode("utf-8"), "written": None}
    if args.out is not None:
        write_plan(args.out, full, None)
        facts["written"] = str(args.out)

    def text(out: Console) -> None:
        if args.out is not None:
            out.print(f"Written to {args.out}.", markup=False)
            return
        # To the byte: a console would change tabs, and a text stream the ends of lines.
        raw = getattr(out.file, "buffer", None)
        raw.write(full) if raw is not None else out.file.write(facts["plan"])
        out.file.flush()

    return Result(facts, text)


def _write_calendar(args: argparse.Namespace, built: CompiledClass) -> list[str]:
    if args.calendar is None:
        if args.at or args.zone:
            raise UsageError("--at and --zone go with --calendar", "Add --calendar class.ics")
        return []
    import time

    from handbell.base.files import whole_file
    from handbell.paper.calendar import calendar

    now_us = time.time_ns() // 1000
    start_utc_ms, words = _start(args)
    with whole_file(args.calendar, own_sort=True) as file:
        file.write(calendar(built, start_utc_ms, now_us // 1000, CAUTION))
    return [f"Written to {args.calendar}: starts {words}."]


def _start(args: argparse.Namespace) -> tuple[int, str]:
    """Return the class start in UTC ms, and when that is in words."""
    from datetime import datetime, timezone
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    from handbell.cli.starts import parsed, resolved

    day, at = parsed(args.at) if args.at else (None, None)
    if day is None or at is None:
        raise UsageError("It is not said on which day", 'Add --at "2026-12-01 18:00"')
    zone = None
    if args.zone is not None:
        try:
            zone = ZoneInfo(args.zone)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise UsageError(
                f"There is no time zone {args.zone}", "Say it like Europe/Lisbon, or UTC"
            ) from None
    utc_s, wall, odd = resolved(datetime.combine(day, at), 0, zone)
    utc = datetime.fromtimestamp(utc_s, timezone.utc)
    return round(utc_s) * 1000, f"{wall:%Y-%m-%d %H:%M} ({utc:%H:%M} UTC){'; ' * bool(odd)}{odd}"


def _write_sheet(args: argparse.Namespace, built: CompiledClass) -> list[str]:
    if args.csv is None:
        return []
    from handbell.base.files import whole_file
    from handbell.compile.timetable import box_rows
    from handbell.paper.sheet import box_sheet, class_sheet

    with whole_file(args.csv, own_sort=True) as file:
        if args.box is None:
            file.write(class_sheet(built))
        else:
            file.write(box_sheet(box_rows(built.timelines[args.box - 1].data)))
    return [f"Written to {args.csv}."]


def _print_show(
    built: CompiledClass, box: int | None, rows: Sequence[Row | BoxRow], out: Console
) -> None:
    from rich.table import Table
    from rich.text import Text

    title = built.plan.title
    if box is not None:
        title += f", {built.timelines[box - 1].label}"
    out.print(f"{title}: {clock(built.totals.slot_ms)} in all", markup=False)
    table = Table(box=None, pad_edge=False)
    table.add_column("at", justify="right", no_wrap=True)
    table.add_column("for", justify="right", no_wrap=True)
    for heading in ("", "what", "block", "round", "who"):
        table.add_column(heading)
    who: Callable[[Any], str] = _who_of_class(built) if box is None else _who_of_box
    said = ""
    for row in rows:
        place = (str(row.block), str(row.round)) if row.kind == "window" else ("", "")
        here = who(row)
        times = (clock(row.class_ms), clock(row.duration_ms))
        cells = (*times, row.kind, row.words, *place, "" if here == said else here)
        said = here or said
        table.add_row(*(Text(cell) for cell in cells))
    out.print(table)


def _who_of_class(built: CompiledClass) -> Callable[[Any], str]:
    """Return how a line of the class says who is where: all that differs between stations."""
    plan = built.plan
    labels = [timeline.label for timeline in built.timelines]

    def who(row: Row) -> str:
        ordered = bool(row.block and plan.blocks[row.block - 1].order)
        differs = plan.is_rotation or ordered
        parts = []
        for label, cell in zip(labels, row.stations, strict=False):
            bibs = " ".join(str(bib) for bib in cell.bibs)
            words = [cell.words if differs else "", f"{cell.who} {bibs}".strip()]
            parts.append(f"{label}: {', '.join(word for word in words if word)}")
        return "; ".join(parts) if plan.groups or ordered else ""

    return who


def _who_of_box(row: BoxRow) -> str:
    bibs = " ".join(str(bib) for bib in row.bibs)
    return f"{row.who} {bibs}".strip()
