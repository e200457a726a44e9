"""``roster`` and ``forget``: who there is, and forgetting somebody completely."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.base.errors import UsageError
from handbell.cli.classes import store_argument
from handbell.cli.render import Result

if TYPE_CHECKING:
    from rich.console import Console

    from handbell.store import Store
    from handbell.store.people.forget import Forgotten
    from handbell.store.people.roster import Athlete, Merged


def roster_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``roster``."""
    parser.add_argument("file", type=Path, nargs="?", help="a CSV file of names, bibs, groups")
    parser.add_argument("--dry-run", action="store_true", help="only show what would change")
    parser.add_argument(
        "--replace", action="store_true", help="who is not in the file leaves the roster"
    )
    parser.add_argument(
        "--wear", metavar="CLASS", help="name the bibs of a class that nobody named yet"
    )
    parser.add_argument("--group", help="with --wear: only the people of this group")
    store_argument(parser)
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


def roster_run(args: argparse.Namespace) -> Result:
    """List the roster, take a file into it, or name a class's bibs by it."""
    from handbell.store import open_store
    from handbell.store.people.roster import athletes

    if args.file and args.wear:
        raise UsageError("A file and --wear can't go together", "Take the file in first")
    with open_store(args.store) as store:
        if args.wear:
            return _worn(args, store)
        if args.file:
            from handbell.store.people.roster import merge
            from handbell.store.people.roster_file import read_roster

            found = merge(store, read_roster(args.file), args.replace, args.dry_run)
            return _merged(found, args)
        return _listed(athletes(store))


def _worn(args: argparse.Namespace, store: Any) -> Result:
    from handbell.cli.reports import _class_id
    from handbell.store.people.roster import wear_as_usual

    try:
        class_id = _class_id(args.wear)
    except argparse.ArgumentTypeError as error:
        raise UsageError(str(error)[0].upper() + str(error)[1:]) from None
    wearers = wear_as_usual(store, class_id, args.group)

    def text(out: Console) -> None:
        for w in wearers:
            said = ", ".join(filter(None, (w.name, "absent" if w.absent else "")))
            out.print(f"Bib {w.bib}: {said or 'no name'}", markup=False)
        if not wearers:
            out.print("No bib of that class is on the roster.")

    return Result({"wearers": [vars(w) for w in wearers]}, text)


def _words(athlete: Athlete) -> str:
    parts = [athlete.name]
    if athlete.bib is not None:
        parts.append(f"bib {athlete.bib}")
    if athlete.group:
        parts.append(athlete.group)
    return ", ".join(parts)


def _listed(people: list[Athlete]) -> Result:
    def text(out: Console) -> None:
        for athlete in people:
            out.print(_words(athlete), markup=False, soft_wrap=True)
        if not people:
            out.print("Nobody is on the roster. Take a file in: handbell roster FILE.csv")

    return Result({"athletes": [vars(a) for a in people]}, text)


def _merged(found: Merged, args: argparse.Namespace) -> Result:
    def text(out: Console) -> None:
        for athlete in found.new:
            out.print(f"new: {_words(athlete)}", markup=False, soft_wrap=True)
        for was, now in found.changed:
            out.print(f"changed: {_words(now)}; was {_words(was)}", markup=False, soft_wrap=True)
        for athlete in found.gone:
            out.print(f"leaves: {_words(athlete)}", markup=False, soft_wrap=True)
        counts = f"{len(found.new)} new, {len(found.changed)} changed, {len(found.same)} as before"
        end = " Nothing is written yet." if args.dry_run else ""
        out.print(f"{counts}.{end}")

    data = {
        "new": [vars(a) for a in found.new],
        "changed": [{"was": vars(was), "now": vars(now)} for was, now in found.changed],
        "same": [vars(a) for a in found.same],
        "gone": [vars(a) for a in found.gone],
        "written": not args.dry_run,
    }
    return Result(data, text)


def forget_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``forget``."""
    parser.add_argument("name", help="the person's name, as the roster or wear has it")
    parser.add_argument("--yes", action="store_true", help="don't ask")
    parser.add_argument("--dry-run", action="store_true", help="only say where the name stands")
    parser.add_argument(
        "--keep-plans",
        action="store_true",
        help="leave the words of plans alone, where the name may be an exercise's",
    )
    store_argument(parser)
    parser.epilog = (
        "examples:\n"
        '  handbell forget "Mina Kay" --dry-run\n'
        '  handbell forget "Mina Kay"\n\n'
        "The name goes from the roster, from every class, from reasons and titles, and from the\n"
        "backups that handbell made. Counts stay, by bib number. It can't be undone. Pages, cards\n"
        "and exports written before, and other people's copies, are out of its reach: delete\n"
        "them yourself."
    )


def forget_run(args: argparse.Namespace) -> Result:
    """Forget a person after asking."""
    from handbell.store import open_store

    done = not args.dry_run
    with open_store(args.store) as store:
        found = _forget(store, args, dry_run=True)
        if done:
            if not args.yes:
                _ask(found)
            found = _forget(store, args, dry_run=False)
    data = {"forgotten": done, "rows": found.rows, "backups": found.backups}
    data |= {"files": found.files, "warnings": found.warnings}

    def text(out: Console) -> None:
        out.print(_where(found, "Found" if args.dry_run else "Forgotten"), markup=False)
        for warning in found.warnings:
            out.print(warning, markup=False, soft_wrap=True)
        if done:
            out.print("Pages, cards and exports written before are out of reach: delete them.")

    return Result(data, text, ok=not found.warnings)


def _forget(store: Store, args: argparse.Namespace, dry_run: bool) -> Forgotten:
    """Forget in the store, and in the files that lie in the data folder."""
    from handbell.base.places import data_folder
    from handbell.store.people.forget import forget
    from handbell.store.people.forget_files import forget_in_files

    found = forget(store, args.name, dry_run=dry_run, keep_plans=args.keep_plans)
    found.files, warnings = forget_in_files(data_folder(), found.name, dry_run)
    found.warnings += warnings
    return found


def _where(found: Forgotten, word: str) -> str:
    rows = ", ".join(f"{table} {count}" for table, count in found.rows.items())
    backups = f"; backups: {', '.join(found.backups)}" if found.backups else ""
    files = f"; files: {', '.join(found.files)}" if found.files else ""
    return f"{word}: {rows or 'no row'}{backups}{files}."


def _ask(found: Forgotten) -> None:
    """Ask on the terminal; raises UsageError without one, or when the answer is another."""
    if not sys.stdin.isatty():
        raise UsageError("Forgetting can't be undone and nobody is here to ask", "Give --yes")
    sys.stderr.write(_where(found, "The name stands in") + "\nThis can't be undone. ")
    sys.stderr.write('Type "forget" to go on: ')
    sys.stderr.flush()
    if sys.stdin.readline().strip() != "forget":
        raise UsageError("Nothing was forgotten")
