"""``check``: every fault of a plan, or its remarks, times and numbers."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.times import clock
from handbell.base.words import several
from handbell.cli import shared
from handbell.cli.output import Out
from handbell.cli.plan_numbers import print_against, print_numbers

if TYPE_CHECKING:
    from handbell.work.planning.check import Checked


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    shared.plan_argument(parser)
    parser.add_argument(
        "--against", type=Path, metavar="LAST", help="another plan, such as last week's, to compare"
    )
    parser.add_argument(
        "--numbers", action="store_true", help="add up what one person does, and estimate the rest"
    )
    parser.add_argument(
        "--sources", action="store_true", help="the numbers, and where estimates come from"
    )
    shared.library_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell check monday.toml\n"
        "  handbell check monday.toml --numbers\n"
        "  handbell check monday.toml --against last-monday.toml\n"
        "  handbell check monday.toml --json"
    )


def run(args: argparse.Namespace) -> Checked:
    """Call the operation."""
    from handbell.work.planning.check import check

    return check(args.plan, args.against, args.library, args.numbers, args.sources)


def text(result: Checked, out: Out) -> None:
    """Print what to look at first, then the times and the numbers."""
    from handbell.work.planning.plans import CAUTION

    notes = several(len(result.warnings), "note") if result.warnings else ""
    out.line(f"{result.title}: no fault{f', {notes}' * bool(notes)}.")
    for warning in result.warnings:
        out.note(warning)
    totals = result.totals
    boxes = "1 box" if totals.boxes == 1 else f"each of {several(totals.boxes, 'box', 'boxes')}"
    earned = f", and {result.earned}" if result.earned else ""
    out.pairs(
        (
            ("In all", f"{clock(totals.slot_ms)}; first bell to last {clock(totals.total_ms)}"),
            ("Windows", f"{totals.windows} on {boxes}"),
            ("Work", clock(totals.work_ms)),
            ("Rest and changes", f"{clock(totals.rest_ms)}{earned}"),
        )
    )
    if result.gates:
        out.line("  A gate counts as nothing here; the class waits there for the coach.")
    if result.by_hand.words:
        started = "At a gate, and started" if result.gates else "Started"
        out.line(f"  {started} by hand: {result.by_hand.words}")
    if result.numbers is not None:
        print_numbers(result.numbers, out)
    if result.against is not None:
        print_against(result.against, out)
    elif result.numbers is None:
        out.line("What one person does, and likely reps: the same with --numbers.")
    out.line(CAUTION)
