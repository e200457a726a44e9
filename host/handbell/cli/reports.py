"""``report`` and ``wear``: what came of a class, and who wore which bib."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.cli.render import Result
from handbell.errors import UsageError

if TYPE_CHECKING:
    from rich.console import Console

    from handbell.store.queries import ClassRow

NEWEST = "newest"


def _class_id(word: str) -> int | None:
    if word == NEWEST:
        return None
    if not word.isdecimal() or len(word) > 9:
        raise argparse.ArgumentTypeError(f"a class is a number or {NEWEST!r}, not {word!r}")
    return int(word)


def _class_argument(parser: argparse.ArgumentParser, **how: Any) -> None:
    parser.add_argument(
        "class_id",
        metavar="CLASS",
        type=_class_id,
        help=f"a class's number (handbell report --list), or {NEWEST}",
        **how,
    )


def _store_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--store", metavar="URL", help="the store (default: HANDBELL_STORE)")


def report_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what ``report`` takes."""
    _class_argument(parser, nargs="?", default=None)
    parser.add_argument("--list", action="store_true", help="list the classes in the store")
    parser.add_argument(
        "--html", metavar="PATH", type=Path, help="write a page to look at or print"
    )
    _store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell report                     the newest class\n"
        "  handbell report --list\n"
        "  handbell report 3 --html monday.html"
    )


def report_run(args: argparse.Namespace) -> Result:
    """Report on one class, or list them all."""
    from handbell.store import open_store

    with open_store(args.store) as store:
        if args.list:
            from handbell.store.queries import list_classes

            return _listed(list_classes(store))
        from handbell.report import class_report

        report = class_report(store, args.class_id)
    data = report.as_json()
    if args.html:
        from handbell.report.page import write_page

        write_page(report, args.html)
        data["page"] = str(args.html)

    def text(out: Console) -> None:
        from handbell.report.terminal import print_report

        print_report(report, out)
        if args.html:
            out.print(f"Page: {args.html}", markup=False, soft_wrap=True)

    return Result(data, text)


def _listed(classes: list[ClassRow]) -> Result:
    from handbell.report.words import date_of, several

    def text(out: Console) -> None:
        if not classes:
            out.print("No class yet. Bring one in with: handbell collect", markup=False)
        for c in classes:
            clock = "" if c.start_utc_us else " (collected; no box had a clock)"
            when = date_of(c.start_utc_us or c.collected_utc_us) + clock
            boxes = several(c.boxes, "box", "boxes")
            out.print(f"{c.id:>5}  {when}  {c.title}, {boxes}", markup=False)

    return Result({"classes": [vars(c) for c in classes]}, text)


def wear_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what ``wear`` takes."""
    _class_argument(parser)
    parser.add_argument(
        "names", metavar="BIB=NAME", nargs="*", help="who wore a bib; BIB= forgets what was said"
    )
    parser.add_argument(
        "--absent", metavar="BIB", nargs="+", type=int, default=[], help="bibs nobody wore"
    )
    _store_argument(parser)
    parser.epilog = (
        "examples:\n"
        '  handbell wear 3 7="Mina" 8="Otto"\n'
        "  handbell wear newest --absent 5 6\n"
        "  handbell wear 3 7=                  forget what was said of bib 7\n\n"
        "What was said before of other bibs stays; saying it again replaces it."
    )


def wear_run(args: argparse.Namespace) -> Result:
    """Say who wore which bib and who was absent."""
    from handbell.store import open_store
    from handbell.store.wearers import set_wearers

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
            out.print(f"Bib {w.bib}: {words}", markup=False)
        if not wearers:
            out.print("Nobody is named and nobody is absent.", markup=False)

    return Result({"wearers": [vars(w) for w in wearers]}, text)


def _worn(word: str) -> tuple[int, str]:
    bib, equals, name = word.partition("=")
    if not equals or not bib.isdecimal() or len(bib) > 5:
        raise UsageError(
            f"{word[:40]!r} does not say who wore a bib", 'Write the bib and the name: 7="Mina"'
        )
    return int(bib), name
