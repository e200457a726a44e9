"""``stations``: which box hangs at which station."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from handbell.base.errors import UsageError
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.upkeep.stations import Stations


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument(
        "change", nargs="*", metavar="N=BOX", help="hang a box (its id, or the end of it) there"
    )
    parser.add_argument("--label", action="append", default=[], metavar="N=TEXT", help="name it")
    parser.add_argument(
        "--number", action="store_true", help="number all boxes that are plugged in, in port order"
    )
    shared.port_argument(parser)
    parser.epilog = (
        "examples:\n  handbell stations --number\n  handbell stations 3=9f21\n"
        '  handbell stations --label 3="By the stairs"'
    )


def run(args: argparse.Namespace) -> Stations:
    """Call the operation."""
    from handbell.work.upkeep.stations import change_stations, stations

    hang, labels = _pairs(args.change), _pairs(args.label)
    if not (hang or labels or args.number):
        return stations()
    return change_stations(hang, labels, args.number, args.port)


def _pairs(words: list[str]) -> dict[int, str]:
    pairs: dict[int, str] = {}
    for word in words:
        number, equals, value = word.partition("=")
        if not equals or not (number.isascii() and number.isdigit()) or not value:
            raise UsageError(f"{word} is not of the form 3=BOX", "See handbell stations --help")
        if int(number) in pairs:
            raise UsageError(f"Station {int(number)} is named twice", "Name it once")
        pairs[int(number)] = value
    return pairs


def text(result: Stations, out: Out) -> None:
    """Print the map, and what became of the boxes that were changed."""
    if not result.stations:
        out.line("No station has a box yet. Number them: handbell stations --number")
    for row in result.stations:
        out.line(f"{row.station:>3}  {row.box}  {row.label}")
    out.lines(f"{spare} is now a spare" for spare in result.spares)
    out.lines(f"note: {words}" for words in result.untold)
    shared.strangers(out, result.others)
