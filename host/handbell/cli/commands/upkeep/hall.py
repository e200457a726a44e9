"""``hall``: of which hall this computer's classes are."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.upkeep.hall import HallTold


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--name", metavar="NAME", help="call it so, in lists of several halls")
    what.add_argument(
        "--share", metavar="FILE", type=Path, help="write the file for a second computer of it"
    )
    what.add_argument(
        "--join", metavar="FILE", type=Path, help="be of the hall of the computer that wrote it"
    )
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell hall                      its number and its name\n"
        '  handbell hall --name "North"       call it so\n'
        "  handbell hall --share north.toml   then, on the second computer of this hall:\n"
        "  handbell hall --join north.toml\n\n"
        "Each plan that is sent tells the hall, and so does each log. Logs of two halls are never\n"
        "one class, whoever collects them; those of one hall are told apart by nothing else than\n"
        "their plan and when they began. The number is no secret."
    )


def run(args: argparse.Namespace) -> HallTold:
    """Call the operation."""
    from handbell.work.upkeep import hall

    if args.name is not None:
        return hall.name_hall(args.name, args.store)
    if args.share is not None:
        return hall.share_hall(args.share)
    if args.join is not None:
        return hall.join_hall(args.join, args.store)
    return hall.hall()


def text(result: HallTold, out: Out) -> None:
    """Print the hall, and what it was before."""
    if result.number is None:
        out.line("This computer has no hall yet: the first handbell send gives it one.")
        return
    named = f"{result.name} ({result.number})" if result.name else f"{result.number}, without name"
    out.line(f"This computer is of hall {named}.")
    if result.shared is not None:
        out.line(f"On the other computer: handbell hall --join {result.shared}")
    if result.before is not None:
        out.line(
            f"Before it was of {result.before}: classes that were sent until now stay of that. "
            "Send each plan again before the next class."
        )
