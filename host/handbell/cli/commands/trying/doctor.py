"""``doctor``: how things stand on this computer, in one text to paste."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.trying.doctor import Checkup

_SIGNS = {True: "good", False: "BAD", None: "-"}


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n  handbell doctor\n  handbell doctor > report.txt\n\n"
        "It holds no names, notes, passwords, nor the name of your home folder."
    )


def run(args: argparse.Namespace) -> Checkup:
    """Call the operation."""
    from handbell.work.trying.doctor import checkup

    return checkup(args.store)


def text(result: Checkup, out: Out) -> None:
    """Print a line a finding, the remedy of a fault under it."""
    for one in result.findings:
        out.line(f"{_SIGNS[one.fine]:<5}{one.what:<12} {one.says}")
        if one.remedy:
            out.line(f"{'':<18}{one.remedy}.")
