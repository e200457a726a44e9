"""``demo``: a whole class on virtual boxes, from plan to report."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.cli.output import Out, shown

if TYPE_CHECKING:
    from handbell.work.trying.demo.play import DemoDone


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument(
        "--out", type=Path, default=Path("demo-out"), help="the folder to fill (default: demo-out)"
    )
    parser.epilog = "examples:\n  handbell demo\n  handbell demo --out /tmp/class"


def run(args: argparse.Namespace) -> DemoDone:
    """Call the operation, each step told on standard error."""
    from handbell.work.trying.demo.play import play

    return play(args.out, _tell)


def _tell(words: str) -> None:
    sys.stderr.write(f"{shown(words)}\n")
    sys.stderr.flush()


def text(result: DemoDone, out: Out) -> None:
    """Say where things are."""
    out.line(f"Done in {result.seconds:.0f} s. Every press was counted, bib by bib.")
    out.line(f"Report:  {result.report}")
    out.line(f"A box's screen at work:  {result.screen}")
