"""``measure``: a real box on a table, and the sheet of it."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.cli import progress
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.upkeep.measure import Measured


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument("port", metavar="PORT", help="the box's serial port")
    parser.add_argument(
        "--minutes",
        type=float,
        default=5,
        metavar="N",
        help="between two looks at the crystal (default: 5; 30 is five times as exact)",
    )
    parser.add_argument(
        "--out", type=Path, metavar="SHEET.md", help="the sheet (default: named after box and time)"
    )
    parser.epilog = (
        "An idle box is taken over, measured in its memory and restarted; one in a class\n"
        "refuses. Its timelines and logs are not touched, its clock must be set again by send.\n"
        "About 100 flash erases are spent. Exit code 1: something differs or was not measured.\n"
        "docs/makers/measure.md is the hour around it. Mind lithium cells, loud sound, flashing\n"
        "light.\n\n"
        "examples:\n  handbell measure /dev/ttyACM0\n"
        "  handbell measure COM5 --minutes 30 --out kitchen.md"
    )


def run(args: argparse.Namespace) -> Measured:
    """Call the operation."""
    from handbell.work.upkeep.measure import measure

    with progress.lines() as lines:
        return measure(args.port, args.minutes, args.out, lines)


def text(result: Measured, out: Out) -> None:
    """Print the figures, and what to look at."""
    figures = ((f.what, f.shown, f.verdict) for f in result.figures)
    out.table(("what", "measured", "verdict"), figures)
    out.lines((*result.advice, *result.remarks))
    out.line(f"The sheet, with lines for what is done by hand: {result.sheet}")
