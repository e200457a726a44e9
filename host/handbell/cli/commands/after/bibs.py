"""``bibs``: who wore which bib in a class, and who was absent."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from handbell.base.errors import UsageError
from handbell.base.words import quoted
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.after.bibs import Bibs


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    shared.class_argument(parser)
    parser.add_argument(
        "names",
        metavar="BIB=NAME",
        nargs="*",
        default=[],
        help="who wore a bib; BIB= forgets what was said",
    )
    parser.add_argument("--absent", metavar="BIB", nargs="+", default=[], help="bibs nobody wore")
    parser.set_defaults(more_go_to="names")
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n"
        '  handbell bibs 3 7="Mina" 8="Otto"\n'
        "  handbell bibs newest --absent 5 6\n"
        "  handbell bibs 3 7=                  forget what was said of bib 7\n\n"
        "What was said before of other bibs stays; saying it again replaces it."
    )


def run(args: argparse.Namespace) -> Bibs:
    """Call the operation. Behind ``--absent`` a name is a name, too."""
    from handbell.work.after.bibs import say_bibs

    said = [*args.names, *(word for word in args.absent if "=" in word)]
    absent = [_bib(word, word) for word in args.absent if "=" not in word]
    names: dict[int, str] = {}
    for word in said:
        bib, equals, name = word.partition("=")
        if names.setdefault(_bib(bib if equals else "", word), name) != name:
            raise UsageError(f"Two names are said of bib {bib}", "Say one of them")
    return say_bibs(args.class_id, names, absent, args.store)


def _bib(bib: str, word: str) -> int:
    if not bib.isdecimal() or len(bib) > 5:
        raise UsageError(
            f"{quoted(word[:40])} does not say who wore a bib",
            'Write the bib and the name: 7="Mina"; behind --absent the bibs alone',
        )
    return int(bib)


def text(result: Bibs, out: Out) -> None:
    """Print of which class, and who wore which bib."""
    shared.of_class(out, result)
    shared.wearers(out, result.wearers)
    if not result.wearers:
        out.line("Nobody is named and nobody is absent.")
