"""``roster``: names, bibs and groups, on this computer only."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.errors import UsageError
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.store.people.roster import Athlete
    from handbell.work.after.bibs import Bibs
    from handbell.work.after.roster import Roster, TakenIn


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument("file", type=Path, nargs="?", help="a CSV file of names, bibs, groups")
    parser.set_defaults(more_go_to="file", more_as=Path)
    parser.add_argument("--dry-run", action="store_true", help="only show what would change")
    parser.add_argument(
        "--replace", action="store_true", help="who is not in the file leaves the roster"
    )
    parser.add_argument(
        "--wear", metavar="CLASS", help="name the bibs of a class that nobody named yet"
    )
    parser.add_argument("--group", help="with --wear: only the people of this group")
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell roster                       who is on it\n"
        "  handbell roster monday.csv --dry-run\n"
        "  handbell roster monday.csv\n"
        "  handbell roster --wear newest --group Monday\n\n"
        "The file has a heading: name (or first name and last name), and if wished bib and group.\n"
        "Any usual delimiter and encoding will do. Names stay on this computer: no box and no\n"
        "log ever holds one."
    )


def run(args: argparse.Namespace) -> Roster | TakenIn | Bibs:
    """Call the operation."""
    from handbell.work.after import bibs, roster

    if args.file and args.wear:
        raise UsageError("A file and --wear can't go together", "Take the file in first")
    if args.wear:
        return bibs.bibs_as_usual(shared.class_number(args.wear), args.group, args.store)
    if args.file:
        return roster.take_in_roster(args.file, args.replace, args.dry_run, args.store)
    return roster.roster(args.store)


def text(result: Roster | TakenIn | Bibs, out: Out) -> None:
    """Print who is on the roster, what a file changed, or who wore which bib."""
    from handbell.work.after.bibs import Bibs
    from handbell.work.after.roster import TakenIn

    if isinstance(result, TakenIn):
        _taken_in(result, out)
    elif isinstance(result, Bibs):
        shared.of_class(out, result)
        shared.wearers(out, result.wearers)
        if not result.wearers:
            out.line("No bib of that class is on the roster.")
    else:
        out.lines(_words(athlete) for athlete in result.athletes)
        if not result.athletes:
            out.line("Nobody is on the roster. Take a file in: handbell roster FILE.csv")


def _taken_in(result: TakenIn, out: Out) -> None:
    out.lines(f"new: {_words(athlete)}" for athlete in result.new)
    out.lines(f"changed: {_words(c.now)}; was {_words(c.was)}" for c in result.changed)
    out.lines(f"leaves: {_words(athlete)}" for athlete in result.gone)
    out.line(f"{len(result.new)} new, {len(result.changed)} changed, {len(result.same)} as before.")
    if not result.written:
        out.line("Nothing written yet; leave --dry-run out to write it.")
    shared.backup(out, result.backup)


def _words(athlete: Athlete) -> str:
    bib = "" if athlete.bib is None else f"bib {athlete.bib}"
    return ", ".join(filter(None, (athlete.name, bib, athlete.group)))
