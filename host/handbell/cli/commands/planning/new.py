"""``new``: a plan to start from."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.times import clock
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.planning.new import Started


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="the file to write (TOML)")
    parser.add_argument(
        "formats", nargs="*", metavar="FORM", help="a block of each of these forms, in this order"
    )
    parser.set_defaults(more_go_to="formats")
    parser.add_argument("--title", help="what the class is called (default: from the file's name)")
    parser.add_argument(
        "--boxes", type=int, default=4, metavar="N", help="how many boxes (default: 4)"
    )
    parser.epilog = (
        "forms:\n"
        "  plain            some exercises in turn, for some rounds (if none is named)\n"
        "  every-minute     a task at each minute, the rest of it is rest (often called EMOM)\n"
        "  as-many-rounds   as many rounds of a list as fit in the time (often called AMRAP)\n"
        "  under-a-cap      finish a list as fast as you can, within a time cap\n"
        "  ladder           reps that go up, down, or both\n"
        "  intervals        work and rest by the clock, such as 20 s and 10 s\n"
        "  relay            one person of each group at a time\n\n"
        "examples:\n"
        "  handbell new monday.toml\n"
        "  handbell new monday.toml every-minute ladder --boxes 6\n"
        '  handbell new relay.toml relay --title "Relay evening"'
    )


def run(args: argparse.Namespace) -> Started:
    """Call the operation."""
    from handbell.work.planning.new import new

    return new(args.plan, args.formats, args.boxes, args.title or "")


def text(result: Started, out: Out) -> None:
    """Print what was written, and what to do with it."""
    out.line(f"Written to {result.written}: {result.title}, {clock(result.slot_ms)} in all.")
    out.line(f"Open it in an editor, then: handbell check {result.written}")
