"""``class``: which logs a class has; join two, part one, date one, take one out; undo that."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from handbell.base.errors import UsageError
from handbell.base.times import class_date, date_of
from handbell.base.words import several
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.store.results.sayings import Saying
    from handbell.work.after.filing import Deleted, Filed, Log, Sayings, TakenBack

MISSING, LAST = -1, -1
WORDS = {
    "join": "is one with another",
    "apart": "is parted",
    "date": "is dated",
    "delete": "is deleted",
}


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    shared.class_argument(parser, optional=True, default=MISSING)
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--join", metavar="CLASS", type=int, help="it is one class with this one")
    what.add_argument(
        "--apart",
        metavar="BOX",
        nargs="+",
        help="these boxes played another class: ends of their ids, stations, or single logs",
    )
    what.add_argument(
        "--date",
        metavar="WHEN",
        help='it began then: "2026-11-26 18:00"; "logged" for what its logs say',
    )
    what.add_argument("--delete", action="store_true", help="take it out with all its results")
    what.add_argument("--said", action="store_true", help="list what was said so of classes")
    what.add_argument(
        "--undo",
        metavar="NUMBER",
        nargs="?",
        type=int,
        const=LAST,
        help="take back what was said last, or that of a number of the list",
    )
    parser.add_argument("--yes", action="store_true", help="don't ask")
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell class newest                 which boxes' logs it has\n"
        "  handbell class 17 --join 16           a second computer had collected its boxes\n"
        "  handbell class 16 --apart 0002 0003   the logs of two boxes are another class\n"
        "  handbell class 16 --apart 1f0c22aa    one log alone, where a box has several, or\n"
        "                                        to say of a lone log that it is a class\n"
        '  handbell class 18 --date "2026-11-26 18:00"   no box, or no computer, knew the time\n'
        "  handbell class 17 --delete            another hall's, taken in by mistake\n"
        "  handbell class --said                 what was joined, parted, dated, deleted\n"
        "  handbell class --undo                 take the last of that back\n\n"
        "Names and amendments go along with the logs. All of this can be taken back, also a\n"
        "deletion, while nothing else was said of the same logs since. A name that was forgotten\n"
        "does not come back."
    )


def run(args: argparse.Namespace) -> Filed | Deleted | Sayings | TakenBack:
    """Call the operation; a deletion is asked about first."""
    from handbell.work.after import filing

    of_all = args.said or args.undo is not None
    if of_all != (args.class_id == MISSING):
        raise UsageError(
            "--said and --undo are of no single class" if of_all else "Which class is not said",
            "handbell class --help shows how it goes",
        )
    if args.said:
        return filing.said(args.store)
    if args.undo is not None:
        return filing.undo(None if args.undo == LAST else args.undo, args.store)
    if args.join is not None:
        return filing.join(args.class_id, args.join, args.store)
    if args.apart:
        return filing.part(args.class_id, args.apart, args.store)
    if args.date is not None:
        return filing.date(args.class_id, args.date, args.store)
    found = filing.class_logs(args.class_id, args.store)
    if not args.delete:
        return found
    if not args.yes:
        _ask(found)
    return filing.delete(found.class_id, args.store)


def _ask(found: Filed) -> None:
    number = found.class_id
    when = class_date(found.start_utc_us, found.collected_utc_us)
    shared.confirm(
        f"Class {number} ({found.title}, {when}) has {several(len(found.logs), 'log')}.",
        "delete",
        refused="Nothing was deleted",
        nobody="A class is to be deleted",
        undone="handbell class --undo brings it back.",
    )


def text(result: Filed | Deleted | Sayings | TakenBack, out: Out) -> None:
    """Print a class's logs, or what became of it."""
    from handbell.work.after.filing import Deleted, Sayings, TakenBack

    if isinstance(result, Sayings):
        out.lines(_said(one) for one in result.sayings)
        if not result.sayings:
            out.line("Nothing was said of classes.")
        return
    if isinstance(result, TakenBack):
        one = result.saying
        what = f"That class {one.class_id} {WORDS[one.what]}"
        if result.already:
            out.line(f"{what} was taken back before; nothing changed.")
            return
        where = ", ".join(map(str, result.classes))
        out.line(f"{what} is taken back; its logs are in class {where} again.")
        out.lines(result.moved)
        return
    if isinstance(result, Deleted):
        logs = several(result.logs, "log")
        when = class_date(result.start_utc_us, result.collected_utc_us)
        out.line(
            f"Class {result.deleted} is gone, with {logs} and what was amended in it: "
            f"{result.title}, {when}. To bring it back: handbell class --undo"
        )
        shared.backup(out, result.backup)
        out.lines(result.moved)
        return
    number = result.class_id
    shared.of_class(out, result)
    if result.hall:
        out.line(f"It is of {result.hall}.")
    out.lines(_line(log) for log in result.logs)
    if result.names:
        out.line(
            f"These names went along: {', '.join(result.names)}. If other people wore those bibs: "
            f"handbell bibs {number} BIB=NAME"
        )
    out.lines(result.moved)
    out.lines(result.doubts)


def _said(one: Saying) -> str:
    back = ", taken back" if one.undone else ""
    return (
        f"{one.number:>5}  {date_of(one.at_utc_us)}  class {one.class_id} {WORDS[one.what]}{back}"
    )


def _line(log: Log) -> str:
    began = "its clock was lost"
    if log.after_s is not None:
        began = f"began {log.after_s:.0f} s after the first"
    dated = {"hand": "; its date was said by hand", "box": "; dated by how long its box was on"}
    by = dated.get(log.dated_by or "", "")
    if log.dated_by == "box" and log.bound_us is not None:
        by += f", within {max(1, round(log.bound_us / 1e6))} s"
    end = f"; {log.reason}" if log.reason else ""
    return f"  station {log.station}, box {log.box}, log {log.log[:8]}: {began}{by}{end}"
