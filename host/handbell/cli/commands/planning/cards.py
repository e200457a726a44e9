"""``cards``: a plan on paper."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.words import several
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.planning.cards import Cards

NO_PDF = "No browser was found that prints PDF; HANDBELL_BROWSER may name one."
HOW_TO_PRINT = (
    "Open the pages in any browser and print them: {paper}, scale 100 %, no headers, with "
    "backgrounds. Cards lie on their side."
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    shared.plan_argument(parser)
    parser.add_argument(
        "--out", type=Path, metavar="FOLDER", help="where to (default: PLAN-cards, here)"
    )
    parser.add_argument(
        "--size", choices=("a4", "letter"), default="a4", help="of the paper (default: a4)"
    )
    parser.add_argument(
        "--pdf", action="store_true", help="PDF files too, if a browser is found that prints them"
    )
    shared.library_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell cards monday.toml\n"
        "  handbell cards monday.toml --size letter --pdf --out print"
    )


def run(args: argparse.Namespace) -> Cards:
    """Call the operation."""
    from handbell.work.planning.cards import cards

    return cards(args.plan, args.out, args.size, args.pdf, args.library)


def text(result: Cards, out: Out) -> None:
    """Print what was written, and how to print it."""
    from handbell.work.planning.plans import CAUTION

    out.line(f"{result.title}: {several(result.cards, 'card')} and a timetable, {result.paper}.")
    out.lines(f"  {path}" for path in result.written)
    if result.timetable_over_a_page:
        out.note("the timetable is too long for one page and goes on to the next")
    if result.browser:
        out.line(f"PDF by {result.browser}.")
    else:
        out.lines([*(() if result.ok else (NO_PDF,)), HOW_TO_PRINT.format(paper=result.paper)])
    out.line(CAUTION)
