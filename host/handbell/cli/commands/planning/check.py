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
    parser.add_argument("--sources", action="store_true", help="say where estimates come from")
    shared.library_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell check monday.toml\n"
        "  handbell check monday.toml --against last-monday.toml\n"
        "  handbell check monday.toml --json"
    )


def run(args: argparse.Namespace) -> Checked:
    """Call the operation."""
    from handbell.work.planning.check import check

    return check(args.plan, args.against, args.library, args.sources)


def text(result: Checked, out: Out) -> None:
    """Print what to look at first, then the times and the numbers."""
    from handbell.work.planning.plans import CAUTION

    out.line(f"{result.title}: the plan is in order.")
    for warning in result.warnings:
        out.note(warning)
    totals = result.totals
    boxes = "1 box" if totals.boxes == 1 else f"each of {several(totals.boxes, 'box', 'boxes')}"
    out.pairs(
        (
            ("First bell to last", clock(totals.total_ms)),
            ("Lead-in to cool-down", clock(totals.slot_ms)),
            ("Windows", f"{totals.windows} on {boxes}"),
            ("Work", clock(totals.work_ms)),
            ("Rest and changes", clock(totals.rest_ms)),
        )
    )
    if result.gates:
        out.line("  A gate counts as nothing here; the class waits there for the coach.")
    if result.by_hand.words:
        started = "At a gate, and started" if result.gates else "Started"
        out.line(f"  {started} by hand: {result.by_hand.words}")
    print_numbers(result.numbers, out)
    if result.against is not None:
        print_against(result.against, out)
    out.line(CAUTION)
