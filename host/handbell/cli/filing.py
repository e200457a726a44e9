"""``class``: which logs a class has; join two, part one, take one out."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Any

from handbell.base.errors import UsageError
from handbell.base.times import class_date
from handbell.cli.classes import store_argument
from handbell.cli.render import Result
from handbell.cli.reports import class_argument

if TYPE_CHECKING:
    from rich.console import Console

    from handbell.store.results.queries import ClassRecord


def class_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``class``."""
    class_argument(parser)
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--join", metavar="CLASS", type=int, help="it is one class with this one")
    what.add_argument(
        "--apart",
        metavar="BOX",
        nargs="+",
        help="these boxes played another class: ends of their ids, stations, or single logs",
    )
    what.add_argument("--delete", action="store_true", help="take it out with all its results")
    parser.add_argument("--yes", action="store_true", help="don't ask")
    store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell class newest                 which boxes' logs it has\n"
        "  handbell class 17 --join 16           a second computer had collected its boxes\n"
        "  handbell class 16 --apart 0002 0003   the logs of two boxes are another class\n"
        "  handbell class 16 --apart 1f0c22aa    one log alone, where a box has several\n"
        "  handbell class 17 --delete            another hall's, taken in by mistake\n\n"
        "Names and amendments go along with the logs. What is deleted is gone from the store, and\n"
        "boxes that were collected have it no more: export it first, with --names, if you may\n"
        "want it again."
    )


def class_run(args: argparse.Namespace) -> Result:
    """Say which logs a class has, or change that."""
    from handbell.store import open_store
    from handbell.store.classes import filing
    from handbell.store.results.queries import load_class

    with open_store(args.store) as store:
        record = load_class(store, args.class_id)
        number = record.row.id
        if args.delete:
            if not args.yes:
                _ask(record)
            return _deleted(number, *filing.delete_class(store, number))
        moved: list[str] = []
        if args.join is not None:
            number = filing.join_classes(store, number, args.join, moved)
        elif args.apart:
            number = filing.set_apart(store, number, args.apart, moved)
        return _told(load_class(store, number), args.apart is not None, list(dict.fromkeys(moved)))


def _told(record: ClassRecord, new: bool, moved: list[str]) -> Result:

    row = record.row
    data: dict[str, Any] = {"class_id": row.id, "title": row.title, "logs": _logs(record)}
    data["moved"] = moved
    names = ", ".join(f"{w.bib}={w.name}" for _, w in sorted(record.wearers.items()) if w.name)

    def text(out: Console) -> None:
        when = class_date(row.start_utc_us, row.collected_utc_us)
        out.print(f"Class {row.id}: {row.title}, {when}", markup=False, soft_wrap=True)
        for log in data["logs"]:
            end = f"; {log['reason']}" if log["reason"] else ""
            out.print(
                f"  station {log['station']}, box {log['box']}, log {log['log'][:8]}: "
                f"{log['began']}{end}",
                markup=False,
                soft_wrap=True,
            )
        if new and names:
            out.print(
                f"These names went along: {names}. If other people wore those bibs: "
                f"handbell bibs {row.id} BIB=NAME",
                markup=False,
                soft_wrap=True,
            )
        for words in moved:
            out.print(words, markup=False, soft_wrap=True)

    return Result(data, text)


def _logs(record: ClassRecord) -> list[dict[str, Any]]:
    first = record.row.start_utc_us
    told = []
    for run in record.runs:
        began = "its clock was lost"
        if run.start_utc_us is not None and first is not None:
            began = f"began {(run.start_utc_us - first) / 1e6:.0f} s after the first"
        told.append(
            {
                "box": run.box_id,
                "station": run.station,
                "log": run.digest,
                "began": began,
                "reason": run.reason,
            }
        )
    return told


def _deleted(number: int, logs: int, moved: list[str]) -> Result:
    def text(out: Console) -> None:
        out.print(f"Class {number} is gone, with {logs} logs and what was amended in it.")
        for words in moved:
            out.print(words, markup=False, soft_wrap=True)

    return Result({"deleted": number, "logs": logs, "moved": moved}, text)


def _ask(record: ClassRecord) -> None:
    """Ask on the terminal; raises UsageError without one, or when the answer is another."""
    number = record.row.id
    if not sys.stdin.isatty():
        raise UsageError("A class can't be brought back and nobody is here to ask", "Give --yes")
    sys.stderr.write(
        f"Class {number} ({record.row.title}) has {len(record.runs)} logs. Boxes that were "
        f"collected have them no more: handbell export class.zip {number} --names keeps\n"
        "them with all that was said of them.\n"
        'This can\'t be undone. Type "delete" to go on: '
    )
    sys.stderr.flush()
    if sys.stdin.readline().strip() != "delete":
        raise UsageError("Nothing was deleted")
