"""``send``: a plan's timelines onto the boxes."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.cli import progress, shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.in_class.send import BoxSent, ClassSent


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument("plan", metavar="PLAN", type=Path, help="the plan file")
    shared.without_argument(parser)
    shared.port_argument(parser)
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n  handbell send class.toml\n  handbell send class.toml --without 3\n\n"
        "Interrupted? Run it again: it goes on where it stopped, and until a box has all of the\n"
        "new timeline it keeps the old one."
    )


def run(args: argparse.Namespace) -> ClassSent:
    """Call the operation."""
    from handbell.work.in_class.send import send

    with progress.lines() as lines:
        return send(args.plan, args.without, args.port, args.store, lines)


def text(result: ClassSent, out: Out) -> None:
    """Print a line a box, what else is to be known, and what comes next."""
    for row in result.boxes:
        out.line(f"station {row.station}, {_words(row)}" if row.ok else row.why)
    for row in result.remotes:
        out.line(_words(row) if row.ok else row.why)
    if not result.remotes:
        out.line("No remote is plugged in.")
    shared.strangers(out, result.others)
    for words in (*result.warnings, *result.starts):
        out.line(f"note: {words}")
    if result.trouble:
        out.line(result.trouble)
    elif result.ok:
        out.line("Every box has its part. Start the class with handbell arm --in 2m")


def _words(row: BoxSent) -> str:
    had = "had it already" if row.already else f"{row.bytes} bytes"
    clock = "" if row.bound_us is None else f", clock within {row.bound_us / 1000:.1f} ms"
    return f"{row.box}: {had}{clock}"
