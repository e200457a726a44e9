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
    parser.add_argument(
        "--since-start",
        action="store_true",
        help="go by the start that was set, since nobody stood at a gate or waited",
    )
    shared.port_argument(parser)
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n  handbell join 3\n\n"
        "For a box that was restarted, left behind, or hung in place of another one while a\n"
        "class runs. With a remote: plug it in, run this, hang it up; the remote tells it every\n"
        "5 s where the class is. Without one, or if it broke: plug in a box that is in the\n"
        "class, too, which plays on meanwhile. What was tapped before the box failed stays in\n"
        "its own log."
    )


def run(args: argparse.Namespace) -> Joined:
    """Call the operation."""
    from handbell.work.in_class.join import join

    with progress.lines() as lines:
        return join(args.station, args.port, args.store, args.since_start, lines)


def text(result: Joined, out: Out) -> None:
    """Print a line a station, and where the class is."""
    done = "waits for the remote" if result.led else "is in the class"
    if result.stands and result.follows:
        done = "stands where the others do"
    elif result.stands and not result.led:
        done = "stands where the others do: hold it when you hold them"
    for row in result.boxes:
        words = done if row.ok else f"not put in: {'; '.join(row.why)}"
        out.line(f"station {row.station}, {row.box}: {words}")
    shared.strangers(out, result.others)
    if result.led and any(row.ok for row in result.boxes):
        out.line(
            "Hang it up where it sees the remote, which tells it every 5 s where "
            f"{result.title} is. If no remote leads any more, plug in a box that is in the class, "
            "too, and run this again."
        )
    if result.follows and any(row.ok for row in result.boxes):
        out.line(
            "It follows the remote as it hears it, like the others; if none leads any more, choose "
            "Go on alone on each box."
        )
    if result.class_ms is not None:
        out.line(f"{result.title} is at {whole_clock(result.class_ms)}, pauses not counted.")
    for remark in result.remarks:
        out.line(f"note: {remark}")
