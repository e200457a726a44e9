"""``unread``: the logs that can't be read; try them again, say what they are, get them out."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.errors import UsageError
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.after.unread import Unread


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument("log", metavar="LOG", nargs="?", default="", help="one log: its ID's start")
    parser.set_defaults(more_go_to="log")
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--again", action="store_true", help="try to read it, or all of them, again")
    what.add_argument("--of", metavar="CLASS", type=int, help="read it as a log of this class")
    what.add_argument(
        "--plan-of", metavar="CLASS", type=int, help="it is another class of this class's plan"
    )
    what.add_argument("--back", action="store_true", help="it was read as what it is not")
    what.add_argument("--out", metavar="FILE", type=Path, help="write its bytes to a file")
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell unread                       list them\n"
        "  handbell unread --again               after an update, or when more logs have come in\n"
        "  handbell unread 1f0c22aa --of 16      the box was in class 16\n"
        "  handbell unread 1f0c22aa --plan-of 16 it is of the same plan, on another day\n"
        "  handbell unread 1f0c22aa --back       put it back: it was read as what it is not\n"
        "  handbell unread 1f0c22aa --out log.bin\n\n"
        "Nothing is lost as long as a log is listed here."
    )


def run(args: argparse.Namespace) -> Unread:
    """Call the operation."""
    from handbell.work.after import unread

    said = args.plan_of if args.of is None else args.of
    if (args.out or said is not None or args.back) and not args.log:
        raise UsageError("It is not said which log", "handbell unread lists them")
    if args.back:
        return unread.put_back(args.log, args.store)
    if args.out:
        return unread.write_log(args.log, args.out, args.store)
    if said is not None:
        in_class = args.plan_of is None
        return unread.read_as(args.log, said, in_class=in_class, store_at=args.store)
    if args.again:
        return unread.read_again(args.log, args.store)
    return unread.unread(args.log, args.store)


def text(result: Unread, out: Out) -> None:
    """Print what was read after all, and what can't be."""
    if result.of is not None:
        shared.of_class(out, result.of)
    for one in result.read:
        where = "no class" if one.class_id is None else f"class {one.class_id}"
        out.line(f"Read after all: a log of {where}.")
        for words in one.notes:
            out.note(words)
    for log in result.unread:
        out.line(f"{log.log[:8]}  box {log.box[-4:]}, {log.bytes} bytes: {log.reason}")
    out.lines(f"Note: {words}." for words in result.moved)
    if result.written is not None:
        out.line(f"{result.written} has its bytes.")
    elif not result.unread and not result.read:
        out.line("Every log could be read.")
