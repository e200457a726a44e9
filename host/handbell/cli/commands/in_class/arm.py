"""``arm``: the start of a class on every box, or on none."""

from __future__ import annotations

import argparse
from datetime import datetime, timezone
from typing import TYPE_CHECKING

from handbell.base.words import several
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.in_class.arm import Armed, BoxArmed, Skew, TakenBack


BUTTONS = (
    "The remote's buttons, from the left: press 1 to pause, hold 2 to go on, hold 3 for the next "
    "block (before the start: 30 s later), hold 4 twice to stop. This is no emergency stop: call "
    "out first."
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    when = parser.add_mutually_exclusive_group(required=True)
    when.add_argument("--in", dest="within", metavar="TIME", help="so long from now: 90s, 5m, 1h")
    when.add_argument("--at", metavar="HH:MM", help="at this time of day, the nearest one")
    when.add_argument("--now", action="store_true", help="in 10 to 20 s, on a whole ten seconds")
    when.add_argument(
        "--by-remote", action="store_true", help="as the remote's second button is held"
    )
    when.add_argument("--cancel", action="store_true", help="take a start back on every box")
    shared.without_argument(parser)
    shared.port_argument(parser)
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n  handbell arm --at 18:00\n  handbell arm --in 5m --without 3\n"
        '  handbell arm --at "2026-11-26 07:30"\n\n'
        "Either every box of the class is set, or none. Leave the boxes plugged in until it says\n"
        "that they are set; then hang them up. A time of day that has just gone by is refused.\n"
        "Each clock is measured again: it says how far the boxes may part in class, and what\n"
        "helps if that is more than people hear (20 ms).\n\n"
        "A remote that is plugged in gets a new key with the boxes and leads the class, which\n"
        "starts at the time you say, or with --by-remote on its word."
    )


def run(args: argparse.Namespace) -> Armed | TakenBack:
    """Call the operation."""
    from handbell.work.in_class.arm import arm, cancel

    if args.cancel:
        return cancel(args.port)
    return arm(args.within, args.at, args.without, args.port, args.store, args.by_remote)


def text(result: Armed | TakenBack, out: Out) -> None:
    """Print a line a station, and when the class starts or why not."""
    from handbell.work.in_class.arm import TakenBack

    if isinstance(result, TakenBack):
        _taken_back(result, out)
        return
    for row in result.boxes:
        where = f"station {row.station}, " if row.station else ""
        out.line(f"{where}{row.box}: {_words(row)}")
        for odd in row.odd:
            out.note(odd)
    shared.strangers(out, result.others)
    if result.failure:
        out.line(result.failure)
    else:
        timed = result.start_utc_ms is not None
        if timed and len([row for row in result.boxes if row.end_error_us is not None]) > 1:
            _skew(result.skew, out)
        _start(result, out)
        if result.led:
            out.line(BUTTONS)
    for remark in result.remarks:
        out.line(f"note: {remark}")


def _words(row: BoxArmed) -> str:
    words = "ready" if row.ready else "not ready: " + "; ".join(row.why)
    if row.start_error_us is not None and row.end_error_us is not None:
        words += (
            f", clock within {row.start_error_us / 1000:.1f} ms at the start, "
            f"{row.end_error_us / 1000:.1f} ms at the end"
        )
        return words if row.rate else f"{words} (rate not known)"
    return f"{words}, clock within {row.bound_us / 1000:.1f} ms" if row.bound_us else words


def _skew(skew: Skew, out: Out) -> None:
    out.line(
        f"Boxes are at most {skew.start_us / 1000:.1f} ms apart at the start, "
        f"{skew.end_us / 1000:.1f} ms at the end, as long as gates and waits take "
        f"{skew.pauses_s // 60} min at most."
    )
    if skew.heard:
        out.line(f"{skew.remark}.")
        out.lines(f"  {cure}." for cure in skew.cures)


def _start(result: Armed, out: Out) -> None:
    """Say when the class starts, and how far ahead that is: a wrong clock shows by it."""
    from handbell.work.in_class.starts import ahead_words

    if result.start_utc_ms is None:
        out.line(
            f"{result.title} starts when the remote's second button is held. "
            "You may unplug the boxes and the remote."
        )
        return
    start_s = result.start_utc_ms / 1000
    at = datetime.fromtimestamp(start_s, timezone.utc).astimezone()
    now = datetime.fromtimestamp(start_s - result.ahead_s, timezone.utc).astimezone()
    day = "" if at.date() == now.date() else f" on {at:%A %d %B}"
    if result.start_words:
        out.line(f"{result.start_words}.")
    then = "You may unplug the boxes." if result.may_unplug else "Leave the boxes until it begins."
    out.line(f"{result.title} starts at {at:%H:%M:%S}{day}, {ahead_words(result.ahead_s)}. {then}")


def _taken_back(result: TakenBack, out: Out) -> None:
    out.lines(result.failed)
    shared.strangers(out, result.others)
    if result.boxes:
        themselves = "itself" if result.boxes == 1 else "themselves"
        out.line(f"{several(result.boxes, 'box', 'boxes')} will not start by {themselves}.")
    if result.standing:
        out.line(f"{result.standing}.")
    if result.trouble:
        out.line(f"note: {result.trouble}")
