"""``report`` and ``wear``: what came of a class, and who wore which bib."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.base.errors import UsageError
from handbell.base.times import class_date
from handbell.base.words import several
from handbell.cli.render import Result

if TYPE_CHECKING:
    from rich.console import Console

    from handbell.report.page import Report
    from handbell.store import Store
    from handbell.store.results.queries import ClassRow

NEWEST = "newest"
WEEKS_MOST = 520


def _class_id(word: str) -> int | None:
    if word == NEWEST:
        return None
    if not word.isdecimal() or len(word) > 9:
        raise argparse.ArgumentTypeError(f"a class is a number or {NEWEST!r}, not {word!r}")
    return int(word)


def _weeks(word: str) -> int:
    if not word.isdecimal() or not 1 <= int(word[:9]) <= WEEKS_MOST:
        raise argparse.ArgumentTypeError(f"weeks are a number from 1 to {WEEKS_MOST}, not {word!r}")
    return int(word)


def class_argument(parser: argparse.ArgumentParser, **how: Any) -> None:
    """Add CLASS."""
    parser.add_argument(
        "class_id",
        metavar="CLASS",
        type=_class_id,
        help=f"a class's number (handbell report --list), or {NEWEST}",
        **how,
    )


def store_argument(parser: argparse.ArgumentParser) -> None:
    """Add --store."""
    parser.add_argument("--store", metavar="URL", help="the store (default: HANDBELL_STORE)")


def report_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what ``report`` takes."""
    class_argument(parser, nargs="?", default=None)
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--list", action="store_true", help="list the classes in the store")
    which.add_argument(
        "--athlete", metavar="NAME", help="one person's months, to hand over: a name, or a bib"
    )
    which.add_argument("--group", action="store_true", help="everybody's weeks, for the coach")
    parser.add_argument(
        "--weeks",
        type=_weeks,
        help="how far back --athlete (26) and --group (12) look from the newest class or CLASS",
    )
    parser.add_argument(
        "--html", metavar="PATH", type=Path, help="write a page to look at or print"
    )
    store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell report                     the newest class\n"
        "  handbell report --list\n"
        "  handbell report 3 --html monday.html\n"
        '  handbell report --athlete "Mina" --html mina.html\n'
        "  handbell report --group --weeks 8 --html group.html"
    )


def report_run(args: argparse.Namespace) -> Result:
    """Report on one class, one athlete or the group, or list the classes."""
    from handbell.store import open_store

    if args.weeks is not None and not (args.athlete or args.group):
        raise UsageError("--weeks says nothing for one class", "Add --athlete NAME or --group")
    with open_store(args.store) as store:
        if args.list:
            from handbell.store.results.queries import list_classes

            return _listed(list_classes(store))
        report = _report(args, store)
    data = report.as_json()
    if args.html:
        from handbell.report.page import write_page

        write_page(report, args.html)
        data["page"] = str(args.html)

    def text(out: Console) -> None:
        from handbell.report.terminal_over_time import print_any

        print_any(report, out)
        if args.html:
            out.print(f"Page: {args.html}", markup=False, soft_wrap=True)

    return Result(data, text)


def _report(args: argparse.Namespace, store: Store) -> Report:
    if args.athlete is not None:
        from handbell.report.athlete import WEEKS, athlete_report

        return athlete_report(store, args.athlete, args.class_id, args.weeks or WEEKS)
    if args.group:
        from handbell.report import group

        return group.group_report(store, args.class_id, args.weeks or group.WEEKS)
    from handbell.report import class_report

    return class_report(store, args.class_id)


def _listed(classes: list[ClassRow]) -> Result:

    def text(out: Console) -> None:
        if not classes:
            out.print("No class yet. Bring one in with: handbell collect", markup=False)
        for c in classes:
            when = class_date(c.start_utc_us, c.collected_utc_us)
            boxes = several(c.boxes, "box", "boxes")
            out.print(f"{c.id:>5}  {when}  {c.title}, {boxes}", markup=False)

    return Result({"classes": [vars(c) for c in classes]}, text)


def bibs_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what ``wear`` takes."""
    class_argument(parser)
    parser.add_argument(
        "names", metavar="BIB=NAME", nargs="*", help="who wore a bib; BIB= forgets what was said"
    )
    parser.add_argument(
        "--absent", metavar="BIB", nargs="+", type=int, default=[], help="bibs nobody wore"
    )
    store_argument(parser)
    parser.epilog = (
        "examples:\n"
        '  handbell bibs 3 7="Mina" 8="Otto"\n'
        "  handbell bibs newest --absent 5 6\n"
        "  handbell bibs 3 7=                  forget what was said of bib 7\n\n"
        "What was said before of other bibs stays; saying it again replaces it."
    )


def bibs_run(args: argparse.Namespace) -> Result:
    """Say who wore which bib and who was absent."""
    from handbell.store import open_store
    from handbell.store.people.wearers import set_wearers

    names = dict(_worn(word) for word in args.names)
    both = sorted(set(names) & set(args.absent))
    if both:
        raise UsageError(f"Bib {both[0]} can't be both worn and absent", "Say one of the two")
    with open_store(args.store) as store:
        wearers = set_wearers(store, args.class_id, names, args.absent)

    def text(out: Console) -> None:
        for w in wearers:
            said = "absent" if w.absent else ""
            words = ", ".join(filter(None, (w.name, said)))
            out.print(f"Bib {w.bib}: {words or 'no name'}", markup=False)
        if not wearers:
            out.print("Nobody is named and nobody is absent.", markup=False)

    facts = [{"bib": w.bib, "name": w.name, "absent": w.absent} for w in wearers]
    return Result({"wearers": facts}, text)


def _worn(word: str) -> tuple[int, str]:
    bib, equals, name = word.partition("=")
    if not equals or not bib.isdecimal() or len(bib) > 5:
        raise UsageError(
            f"{word[:40]!r} does not say who wore a bib", 'Write the bib and the name: 7="Mina"'
        )
    return int(bib), name
