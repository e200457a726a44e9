"""``join``: a box put into the class that is on."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from handbell.base.times import whole_clock
from handbell.cli import progress, shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.in_class.join import Joined


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument(
        "station", nargs="+", type=int, metavar="STATION", help="the stations of the boxes"
    )
    shared.port_argument(parser)
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n  handbell join 3\n\n"
        "For a box that was restarted, left behind, or hung in place of another one while a class\n"
        "runs that a remote leads. Plug it in, run this, hang it up: the remote tells it\n"
        "every 5 s where the class is. What was tapped before the box failed stays in its own log."
    )


def run(args: argparse.Namespace) -> Joined:
    """Call the operation."""
    from handbell.work.in_class.join import join

    with progress.lines() as lines:
        return join(args.station, args.port, args.store, lines)


def text(result: Joined, out: Out) -> None:
    """Print a line a station, and where the class is."""
    for row in result.boxes:
        words = "waits for the remote" if row.ok else f"not put in: {'; '.join(row.why)}"
        out.line(f"station {row.station}, {row.box}: {words}")
    shared.strangers(out, result.others)
    if any(row.ok for row in result.boxes):
        out.line(
            "Hang it up where it sees the remote, which tells it every 5 s where the class is."
        )
    if result.class_ms is not None:
        out.line(f"{result.title} is at {whole_clock(result.class_ms)}, pauses not counted.")
    for remark in result.remarks:
        out.line(f"note: {remark}")
