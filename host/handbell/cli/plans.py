"""The commands about a plan by itself: check and show."""

from __future__ import annotations

import argparse
import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.cli.numbers import numbers_facts, print_against, print_numbers
from handbell.cli.render import Result
from handbell.coach.times import clock
from handbell.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rich.console import Console

    from handbell.compile.build import CompiledClass
    from handbell.compile.timetable import BoxRow, Row

CAUTION = (
    "Before hard exercise: a screening questionnaire for everybody, within the coach's own "
    "qualification and the local rules."
)


def _plan_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plan", type=Path, metavar="PLAN", help="the plan file (TOML)")


def check_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``check``."""
    _plan_argument(parser)
    parser.add_argument(
        "--against", type=Path, metavar="LAST", help="another plan, such as last week's, to compare"
    )
    library_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell check monday.toml\n"
        "  handbell check monday.toml --against last-monday.toml\n"
        "  handbell check monday.toml --json"
    )


def show_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``show``."""
    _plan_argument(parser)
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
    library_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell show monday.toml\n"
        "  handbell show monday.toml --box 3\n"
        "  handbell show monday.toml --csv monday.csv\n"
        '  handbell show monday.toml --calendar monday.ics --at "2026-12-01 18:00"'
    )


def library_argument(parser: argparse.ArgumentParser) -> None:
    """Add --library."""
    parser.add_argument(
        "--library",
        type=Path,
        metavar="FILE",
        help="your own exercises (default: exercises.toml in the data folder, if there)",
    )


def compiled(path: Path) -> CompiledClass:
    """Return a plan's class; raises PlanError."""
    from handbell.compile import build
    from handbell.plan.files import load_plan

    return build(load_plan(path))


def check_run(args: argparse.Namespace) -> Result:
    """Find every fault of a plan, add up its times, and compare it with another one."""
    from handbell.coach import kit
    from handbell.coach.library import load_library
    from handbell.coach.numbers import numbers_of
    from handbell.coach.remarks import coach_remarks

    built = compiled(args.plan)
    library = load_library(args.library)
    warnings = built.warnings + coach_remarks(built.plan, library)
    warnings += [f"block {b + 1}: {fault}" for b, fault in kit.faults(built.plan)]
    numbers = numbers_of(built, library)
    facts = _facts(built) | {"warnings": warnings, "numbers": numbers_facts(numbers)}
    compared = None
    if args.against is not None:
        from handbell.coach.against import against

        last = compiled(args.against)
        compared = against(built, numbers, last, numbers_of(last, library))
        facts["against"] = {"title": last.plan.title, **dataclasses.asdict(compared)}

    def text(out: Console) -> None:
        _print_check(built, out)
        print_numbers(numbers, out)
        if compared is not None:
            print_against(compared, str(args.against), out)
        _print_warnings(warnings, out)

    return Result(facts, text)


def show_run(args: argparse.Namespace) -> Result:
    """Lay a plan out as a timetable, and write it for other programs."""
    from handbell.coach.library import load_library
    from handbell.coach.numbers import numbers_of
    from handbell.compile.timetable import box_rows

    built = compiled(args.plan)
    boxes = len(built.timelines)
    if args.box is None:
        rows: Sequence[Row | BoxRow] = built.timetable
        numbers = numbers_of(built, load_library(args.library))
        facts = _facts(built) | {"numbers": numbers_facts(numbers)}
    elif 1 <= args.box <= boxes:
        timeline = built.timelines[args.box - 1]
        rows, numbers = box_rows(timeline.data), None
        facts = _facts(built) | {"station": timeline.station, "label": timeline.label}
    else:
        raise UsageError(
            f"{args.plan} has no box {args.box}",
            f"Name a station from 1 to {boxes}" if boxes > 1 else "It has one box, --box 1",
        )
    facts["rows"] = [dataclasses.asdict(row) for row in rows]
    said = [*_write_calendar(args, built), *_write_sheet(args, built)]
    facts["written"] = [str(path) for path in (args.calendar, args.csv) if path is not None]

    def text(out: Console) -> None:
        _print_show(built, args.box, rows, out)
        if numbers is not None:
            print_numbers(numbers, out)
        _print_warnings(built.warnings, out)
        for words in said:
            out.print(words, markup=False)

    return Result(facts, text)


def _write_calendar(args: argparse.Namespace, built: CompiledClass) -> list[str]:
    if args.calendar is None:
        if args.at or args.zone:
            raise UsageError("--at and --zone go with --calendar", "Add --calendar class.ics")
        return []
    import time

    from handbell.coach.calendar import calendar
    from handbell.coach.out_files import fresh_file

    now_us = time.time_ns() // 1000
    start_utc_ms, words = _start(args)
    with fresh_file(args.calendar) as file:
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
    from handbell.coach.out_files import fresh_file
    from handbell.coach.sheet import box_sheet, class_sheet
    from handbell.compile.timetable import box_rows

    with fresh_file(args.csv) as file:
        if args.box is None:
            file.write(class_sheet(built))
        else:
            file.write(box_sheet(box_rows(built.timelines[args.box - 1].data)))
    return [f"Written to {args.csv}."]


def _facts(built: CompiledClass) -> dict[str, Any]:
    return {
        "title": built.plan.title,
        "plan": built.plan.digest.hex(),
        "layout": built.plan.layout,
        **dataclasses.asdict(built.totals),
        "warnings": built.warnings,
    }


def _print_check(built: CompiledClass, out: Console) -> None:
    totals = built.totals
    out.print(f"{built.plan.title}: the plan is in order.", markup=False)
    boxes = "1 box" if totals.boxes == 1 else f"each of {totals.boxes} boxes"
    lines = (
        ("First bell to last", f"{clock(totals.total_ms)}"),
        ("Lead-in to cool-down", f"{clock(totals.slot_ms)}"),
        ("Windows", f"{totals.windows} on {boxes}"),
        ("In windows, between them", f"{clock(totals.work_ms)}, {clock(totals.rest_ms)}"),
    )
    for what, value in lines:
        out.print(f"  {what:<26}{value}", markup=False)
    if any(block.gate for block in built.plan.blocks):
        out.print("  A gate counts as nothing here; the class waits there for the coach.")


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
        cells = (*times, row.kind, row.what, *place, "" if here == said else here)
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
            words = [cell.what if differs else "", f"{cell.who} {bibs}".strip()]
            parts.append(f"{label}: {', '.join(word for word in words if word)}")
        return "; ".join(parts) if plan.groups or ordered else ""

    return who


def _who_of_box(row: BoxRow) -> str:
    bibs = " ".join(str(bib) for bib in row.bibs)
    return f"{row.who} {bibs}".strip()


def _print_warnings(warnings: Sequence[str], out: Console) -> None:
    for warning in warnings:
        out.print(f"  note: {warning}", markup=False)
    out.print(CAUTION, markup=False)
