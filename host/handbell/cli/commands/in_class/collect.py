"""``collect``: the logs of finished classes, home."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from handbell.base.times import date_of
from handbell.base.words import listed, several
from handbell.cli import progress, shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.in_class.collect import BoxCollected, ClassCollected


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument("--keep", action="store_true", help="leave the logs on the boxes")
    shared.port_argument(parser)
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n  handbell collect\n  handbell collect --keep\n\n"
        "A log is erased on its box only after it is safe in the store; running it twice does no\n"
        "harm."
    )


def run(args: argparse.Namespace) -> ClassCollected:
    """Call the operation."""
    from handbell.work.in_class.collect import collect

    with progress.lines() as lines:
        return collect(args.keep, args.port, args.store, lines)


def text(result: ClassCollected, out: Out) -> None:
    """Print what came from each box, and what did not."""
    for row in result.boxes:
        if row.why:
            out.line(row.why)
        if row.said_any:
            _box(row, out)
    out.lines(result.doubts)
    shared.strangers(out, result.others)
    if result.awaited:
        stations = listed(map(str, result.awaited))
        out.line(f"Still to collect of the last class: station {stations}.")
    if any(row.new for row in result.boxes):
        out.line("Now: handbell report")


def _box(row: BoxCollected, out: Out) -> None:
    open_one = ""
    if row.starts_utc_ms is not None:
        open_one = f"; it is set to start on {date_of(row.starts_utc_ms * 1000)}"
    elif row.open:
        open_one = ", one of a class that is not over"
    led = f", {several(row.led, 'log')} of a remote, kept for nobody" if row.led else ""
    out.line(f"{row.box}: {row.new} new of {row.runs}{led}{open_one}")
    for note in row.notes:
        out.note(note)
    out.lines(f"  NOT READ: {why}" for why in row.unread)
    out.lines(f"  left on the box: {why}" for why in row.kept)
    if row.broken:
        out.line(f"  {_broken(row)}")


def _broken(row: BoxCollected) -> str:
    """Return what is said of the logs that a box can't read; a sound one left there goes first."""
    one = len(row.broken) == 1
    said = f"can't be read: {'log' if one else 'logs'} {', '.join(row.broken)}. "
    if row.kept or row.open:
        return said + "Bring the others home first, then run handbell collect again."
    remedy = "it alone is" if one else "they alone are"
    return said + f"All others are safe. Run handbell collect again; else {remedy} lost."
