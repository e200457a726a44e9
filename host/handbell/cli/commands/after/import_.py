"""``import``: take in a bundle of another coach."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.after.export import Apart, Imported


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument("bundle", type=Path, help="a bundle that handbell export wrote")
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell import classes.zip\n\n"
        "Everything is checked first; of a damaged bundle nothing is taken in. Logs that are here\n"
        "already stay as they are, so importing twice does no harm. A class of which no log is\n"
        "here and whose boxes were never plugged in here stays apart from yours until you say\n"
        "that it is one of them: handbell class 17 --join 16.\n"
        "A copy of the store is made before. To take a class out again: handbell class 17 --delete"
    )


def run(args: argparse.Namespace) -> Imported:
    """Call the operation."""
    from handbell.work.after.export import take_in_bundle

    return take_in_bundle(args.bundle, args.store)


def text(result: Imported, out: Out) -> None:
    """Print what is new, and what the coach may have to say."""
    where = ", ".join(map(str, result.classes))
    out.line(f"{result.runs_new} new of {result.runs} logs, of class {where or 'none'}.")
    if result.amendments_new or result.names_new:
        out.line(f"{result.amendments_new} amendments and {result.names_new} names are new.")
    out.lines(f"Class {number} is of {name}." for number, name in result.halls.items())
    out.lines(_apart(one) for one in result.apart)
    out.lines(result.kept)
    out.lines(result.doubts)
    shared.backup(out, result.backup)


def _apart(one: Apart) -> str:
    """Say that a class is somebody else's, and what to do if it is not."""
    number = one.class_id
    said = f"Class {number} is kept apart from yours: none of its logs was here, nor all its boxes."
    if one.alike is not None:
        said += f" If it is one with class {one.alike}: handbell class {number} --join {one.alike}."
    return f"{said} To take it out again: handbell class {number} --delete"
