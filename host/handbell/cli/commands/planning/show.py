"""``show``: a plan as a timetable, for people, box by box, or for other programs."""

from __future__ import annotations

import argparse
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.errors import UsageError
from handbell.base.times import clock
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from collections.abc import Sequence

    from handbell.work.planning.show import Calendar, InFull, Shown
    from handbell.work.planning.whereabouts import Whereabouts


CHANGE = "change"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    shared.plan_argument(parser)
    parser.add_argument("--box", type=int, metavar="N", help="only what the box of station N plays")
    parser.add_argument("--csv", type=Path, metavar="FILE", help="write the timetable as CSV")
    parser.add_argument(
        "--calendar", type=Path, metavar="FILE", help="write an iCalendar file; needs --at"
    )
    parser.add_argument("--at", metavar="WHEN", help='when the class starts: "2026-12-01 18:00"')
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
    parser.epilog = (
        "examples:\n"
        "  handbell show monday.toml\n"
        "  handbell show monday.toml --box 3\n"
        "  handbell show monday.toml --csv monday.csv\n"
        "  handbell show monday.toml --expanded --out monday-in-full.toml\n"
        '  handbell show monday.toml --calendar monday.ics --at "2026-12-01 18:00"'
    )


def run(args: argparse.Namespace) -> Shown | InFull:
    """Call the operation."""
    from handbell.work.planning.show import in_full, show

    if args.expanded:
        if any(v is not None for v in (args.box, args.csv, args.calendar, args.at, args.zone)):
            raise UsageError(
                "--expanded is the plan itself, without a timetable", "Ask for one at a time"
            )
        return in_full(args.plan, args.out)
    if args.out is not None:
        raise UsageError("--out goes with --expanded", "Add it, or write a table with --csv")
    return show(args.plan, args.box, args.csv, _event(args))


def _event(args: argparse.Namespace) -> Calendar | None:
    from handbell.work.in_class.starts import parsed
    from handbell.work.planning.show import Calendar

    if args.calendar is None:
        if args.at or args.zone:
            raise UsageError("--at and --zone go with --calendar", "Add --calendar class.ics")
        return None
    day, at = parsed(args.at) if args.at else (None, None)
    if day is None or at is None:
        raise UsageError("It is not said on which day", 'Add --at "2026-12-01 18:00"')
    return Calendar(args.calendar, datetime.combine(day, at), args.zone)


def text(result: Shown | InFull, out: Out) -> None:
    """Print the timetable, or the plan written out."""
    from handbell.work.planning.plans import CAUTION
    from handbell.work.planning.show import InFull

    if isinstance(result, InFull):
        _print_plan(result, out)
        return
    title = f"{result.title}, {result.label}" if result.station else result.title
    out.line(f"{title}: {clock(result.totals.slot_ms)} in all")
    if result.where is not None:
        _print_stations(result.labels, result.where, out)
    if result.where is not None and result.where.windows:
        _print_grid(result, result.where, out)
    else:
        _print_rows(result, out)
    for one in result.lists:
        out.line(f"{'Legs' if one.unit == 'leg' else 'A round'} of {one.name}: {one.parts}")
    if result.earned:
        out.line(f"Rest is also {result.earned}.")
    for warning in result.warnings:
        out.note(warning)
    out.line(CAUTION)
    for path in result.written:
        event = result.starts if path == result.written[0] else ""
        out.line(f"Written to {path}{': starts ' * bool(event)}{event}.")


def _print_stations(labels: Sequence[str], where: Whereabouts, out: Out) -> None:
    """Print what stays as it is at each station: the people, or the tasks of each block."""
    rows: list[tuple[str, ...]] = []
    headings: tuple[str, ...] = ("", "who")
    if where.people:
        rows = list(zip(labels, where.people, strict=True))
    elif where.tasks:
        headings = ("", *(task.name or f"block {task.block}" for task in where.tasks))
        rows = list(zip(labels, *(task.stations for task in where.tasks), strict=True))
    if rows:
        out.table(headings, rows)
        out.line()


def _print_grid(result: Shown, where: Whereabouts, out: Out) -> None:
    """Print a line a time and a column a station; changes stand in one line below."""
    cells = {one.class_ms: one.stations for one in where.windows}
    nothing = ("",) * len(result.labels)
    rows = []
    for row in result.rows:
        window = row.kind == "window"
        what = f"{row.words}, {row.round}" if window else f"{row.kind} {row.words}".strip()
        here = cells.get(row.class_ms, nothing) if window else nothing
        if row.kind != CHANGE:
            rows.append((clock(row.class_ms), clock(row.duration_ms), what, *here))
    out.grid(("at", "for", "block, round"), result.labels, rows)
    changes = {row.duration_ms for row in result.rows if row.kind == CHANGE}
    if changes:
        lengths = dict.fromkeys((min(changes), max(changes)))
        out.line(f"Changes between: {' to '.join(map(clock, lengths))}.")


def _print_rows(result: Shown, out: Out) -> None:
    from handbell.compile.timetable import BoxRow

    rows = []
    for row in result.rows:
        place = (row.block, row.round) if row.kind == "window" else ("", "")
        cells = [clock(row.class_ms), clock(row.duration_ms), row.kind, row.words, *place]
        if isinstance(row, BoxRow):
            here = f"{row.who} {' '.join(map(str, row.bibs))}".strip()
            cells.append(here if row.kind == "window" else "")
        rows.append(cells)
    headings = ("at", "for", "", "what", "block", "round", *(("who",) if result.station else ()))
    out.table(headings, rows, right=(0, 1), whole=(0, 1, 2, 4, 5))


def _print_plan(result: InFull, out: Out) -> None:
    if result.written:
        out.line(f"Written to {result.written}.")
        return
    # To the byte: a console would change tabs, and a text stream the ends of lines.
    file = out.console.file
    raw = getattr(file, "buffer", None)
    raw.write(result.plan.encode("utf-8")) if raw is not None else file.write(result.plan)
    file.flush()
