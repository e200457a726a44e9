"""``identify``: a box shows and sounds its station number."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.upkeep.identify import Identified


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument("station", nargs="*", help="station numbers or box ids (default: all)")
    shared.port_argument(parser)
    parser.epilog = "examples:\n  handbell identify\n  handbell identify 3"


def run(args: argparse.Namespace) -> Identified:
    """Call the operation."""
    from handbell.work.upkeep.identify import identify

    return identify(args.station, args.port)


def text(result: Identified, out: Out) -> None:
    """Print which boxes sound, and why others don't."""
    if result.rang:
        out.line(f"Ringing: {', '.join(result.rang)}")
    out.lines(result.failed)
    shared.strangers(out, result.others)
