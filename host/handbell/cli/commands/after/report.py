"""``report``: what came of a class, for an athlete, and for the group."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.errors import UsageError
from handbell.base.times import class_date
from handbell.base.words import several
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.store.results.records import ClassRow
    from handbell.work.after.report import Classes, Reported


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    shared.class_argument(parser, optional=True)
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--list", action="store_true", help="list the classes in the store")
    which.add_argument(
        "--athlete", metavar="NAME", help="one person's months, to hand over: a name, or a bib"
    )
    which.add_argument("--group", action="store_true", help="everybody's weeks, for the coach")
    parser.add_argument(
        "--weeks",
        type=shared.weeks,
        metavar="N",
        help="how far back --athlete (default: 26) and --group (default: 12) look from CLASS",
    )
    parser.add_argument(
        "--html", metavar="FILE", type=Path, help="write a page to look at or print"
    )
    parser.add_argument(
        "--with-list",
        action="store_true",
        help="show who to talk to on the page of a class or the group at once, and print it",
    )
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell report                     the newest class\n"
        "  handbell report --list\n"
        "  handbell report 3 --html monday.html\n"
        '  handbell report --athlete "Mina" --html mina.html\n'
        "  handbell report --group --weeks 8 --html group.html"
    )


def run(args: argparse.Namespace) -> Classes | Reported:
    """Call the operation."""
    from handbell.work.after import report

    if args.weeks is not None and not (args.athlete or args.group):
        raise UsageError("--weeks says nothing for one class", "Add --athlete NAME or --group")
    if args.with_list and (args.html is None or args.athlete is not None or args.list):
        raise UsageError(
            "--with-list is for the page of a class or of the group", "Add --html FILE"
        )
    if args.list:
        return report.classes(args.store)
    if args.athlete is not None:
        return report.report_athlete(args.athlete, args.class_id, args.weeks, args.html, args.store)
    if args.group:
        return report.report_group(
            args.class_id, args.weeks, args.html, args.store, with_list=args.with_list
        )
    return report.report_class(args.class_id, args.html, args.store, with_list=args.with_list)


def text(result: Classes | Reported, out: Out) -> None:
    """Print the report, or a line for each class."""
    from handbell.cli.months_text import print_any
    from handbell.work.after.report import Reported

    if isinstance(result, Reported):
        shared.passed_over(out, result.passed_over, result.until, "report")
        out.lines(result.doubts)
        print_any(result.report, out)
        if result.page is not None:
            out.line(f"Page: {result.page}")
        return
    out.lines(_line(one) for one in result.classes)
    if not result.classes:
        out.line("No class yet. Bring one in with: handbell collect")


def _line(one: ClassRow) -> str:
    when = class_date(one.start_utc_us, one.collected_utc_us)
    where = f", {one.hall}" if one.hall else ""
    return f"{one.id:>5}  {when}  {one.title}, {several(one.boxes, 'box', 'boxes')}{where}"
