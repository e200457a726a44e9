"""The commands about a plan by itself: check and show."""

from __future__ import annotations

import argparse
import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.cli.render import Result
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
    parser.epilog = "examples:\n  handbell check monday.toml\n  handbell check monday.toml --json"


def show_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``show``."""
    _plan_argument(parser)
    parser.add_argument("--box", type=int, metavar="N", help="only what the box of station N plays")
    parser.epilog = "examples:\n  handbell show monday.toml\n  handbell show monday.toml --box 3"


def _compiled(args: argparse.Namespace) -> CompiledClass:
    from handbell.compile import build
    from handbell.plan.files import load_plan

    return build(load_plan(args.plan))


def check_run(args: argparse.Namespace) -> Result:
    """Find every fault of a plan and add up its times."""
    built = _compiled(args)
    return Result(_facts(built), lambda out: _print_check(built, out))


def show_run(args: argparse.Namespace) -> Result:
    """Lay a plan out as a timetable."""
    from handbell.compile.timetable import box_rows

    built = _compiled(args)
    boxes = len(built.timelines)
    if args.box is None:
        rows: Sequence[Row | BoxRow] = built.timetable
        facts = _facts(built)
    elif 1 <= args.box <= boxes:
        timeline = built.timelines[args.box - 1]
        rows = box_rows(timeline.data)
        facts = _facts(built) | {"station": timeline.station, "label": timeline.label}
    else:
        raise UsageError(
            f"{args.plan} has no box {args.box}",
            f"Name a station from 1 to {boxes}" if boxes > 1 else "It has one box, --box 1",
        )
    facts["rows"] = [dataclasses.asdict(row) for row in rows]
    return Result(facts, lambda out: _print_show(built, args.box, rows, out))


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
    _print_warnings(built, out)


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
    _print_warnings(built, out)


def _who_of_class(built: CompiledClass) -> Callable[[Any], str]:
    """Return how a line of the class says who is where: all that differs between stations."""
    plan = built.plan
    labels = [timeline.label for timeline in built.timelines]

    def who(row: Row) -> str:
        parts = []
        for label, cell in zip(labels, row.stations, strict=False):
            bibs = " ".join(str(bib) for bib in cell.bibs)
            what = f"{cell.what}, " if plan.is_rotation else ""
            parts.append(f"{label}: {what}{cell.who} {bibs}")
        return "; ".join(parts) if plan.groups else ""

    return who


def _who_of_box(row: BoxRow) -> str:
    bibs = " ".join(str(bib) for bib in row.bibs)
    return f"{row.who} {bibs}".strip()


def _print_warnings(built: CompiledClass, out: Console) -> None:
    for warning in built.warnings:
        out.print(f"  note: {warning}", markup=False)
    out.print(CAUTION, markup=False)


def clock(ms: int) -> str:
    """Return a time as m:ss, with tenths when there are any."""
    text = f"{ms // 60_000}:{ms // 1000 % 60:02d}"
    return f"{text}.{ms // 100 % 10}" if ms % 1000 else text
