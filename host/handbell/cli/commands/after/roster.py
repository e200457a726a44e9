"""``roster``: names, bibs and groups, on this computer only."""

from __future__ import annotations

import argparse
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.errors import UsageError
from handbell.base.words import quoted
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.store.people.roster import Athlete
    from handbell.work.after.bibs import Bibs
    from handbell.work.after.people import Called, Noted
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
    parser.add_argument(
        "--rename", nargs=2, metavar=("NAME", "NEW"), help="call a person otherwise, everywhere"
    )
    parser.add_argument(
        "--same",
        nargs=2,
        metavar=("NAME", "OTHER"),
        help="two records are one person, called as the second",
    )
    parser.add_argument("--apart", metavar="NAME", help="take --same of a person back")
    parser.add_argument(
        "--note",
        nargs=2,
        metavar=("NAME", "WORDS"),
        help='what to spare: "sore wrist, knee", beginner, or both; "" takes it away',
    )
    parser.add_argument("--until", type=_day, metavar="DATE", help="with --note: its last day")
    parser.add_argument("--notes", action="store_true", help="list standing notes")
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell roster                       who is on it\n"
        "  handbell roster monday.csv --dry-run\n"
        "  handbell roster monday.csv\n"
        "  handbell roster --wear newest --group Monday\n"
        '  handbell roster --rename Mina "Mina Kay"\n'
        '  handbell roster --same "M. Kay" "Mina Kay"\n'
        '  handbell roster --note Mina "sore wrist" --until 2027-03-01\n\n'
        "The file has a heading: name (or first name and last name), and if wished bib and group.\n"
        'Two of one name need two groups; they are called, say, "Mina (Monday)". Notes stand on\n'
        "no box, page, card, export or bundle; handbell swap PLAN --noted goes by them.\n"
        "Any usual delimiter and encoding will do. Names stay on this computer: no box and no\n"
        "log ever holds one."
    )


def _day(word: str) -> date:
    try:
        return date.fromisoformat(word)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"{word[:20]!r} is no date; write it as 2027-03-01"
        ) from None


def run(args: argparse.Namespace) -> Roster | TakenIn | Bibs | Called | Noted:
    """Call the operation."""
    from handbell.work.after import bibs, roster

    said = [args.file, args.wear, args.rename, args.same, args.apart, args.note, args.notes or None]
    if sum(one is not None for one in said) > 1 and not (args.file and args.wear):
        raise UsageError("One thing at a time", "Say them one after the other")
    if args.until is not None and not args.note:
        raise UsageError("--until goes with --note", "Say what to note")
    of_people = _of_people(args)
    if of_people is not None:
        return of_people
    if args.file and args.wear:
        raise UsageError("A file and --wear can't go together", "Take the file in first")
    if args.wear:
        return bibs.bibs_as_usual(shared.class_number(args.wear), args.group, args.store)
    if args.file:
        return roster.take_in_roster(args.file, args.replace, args.dry_run, args.store)
    return roster.roster(args.store)


def _of_people(args: argparse.Namespace) -> Called | Noted | None:
    from handbell.work.after import people

    if args.rename:
        return people.rename(args.rename[0], args.rename[1], args.store)
    if args.same:
        return people.make_same(args.same[0], args.same[1], args.store)
    if args.apart:
        return people.make_two(args.apart, args.store)
    today = datetime.now().astimezone().date()
    if args.note:
        return people.note(args.note[0], args.note[1], args.until, today, args.store)
    return people.notes(today, args.store) if args.notes else None


def text(result: Roster | TakenIn | Bibs | Called | Noted, out: Out) -> None:
    """Print who is on the roster, what was changed or noted, or who wore which bib."""
    from handbell.work.after.bibs import Bibs
    from handbell.work.after.people import Called, Noted
    from handbell.work.after.roster import TakenIn

    if isinstance(result, Called):
        out.lines(f"Known as {quoted(name)}." for name in result.names)
        shared.backup(out, result.backup)
        return
    if isinstance(result, Noted):
        _noted(result, out)
        return
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


def _noted(result: Noted, out: Out) -> None:
    for words, some in (("", result.notes), (" (over)", result.over)):
        for one in some:
            what = one.what if one.what == "beginner" else f"sore {one.what}"
            bib = "" if one.bib is None else f"bib {one.bib}"
            until = "" if one.until is None else f"until {one.until.isoformat()}"
            said = ", ".join(filter(None, (one.called, bib, one.group, what, until)))
            out.line(said + words)
    if not (result.notes or result.over):
        out.line("Nothing is noted of anybody.")


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
