"""``forget``: forget a person completely."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from handbell.base.words import quoted
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.after.forget import Forgot


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument("name", help="the person's name, as handbell roster or bibs has it")
    parser.add_argument("--yes", action="store_true", help="don't ask")
    parser.add_argument("--dry-run", action="store_true", help="only say where the name stands")
    parser.add_argument(
        "--keep-plans",
        action="store_true",
        help="leave the words of plans alone, where the name may be an exercise's",
    )
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n"
        '  handbell forget "Mina Kay" --dry-run\n'
        '  handbell forget "Mina Kay"\n\n'
        "The name goes from the roster, from every class, from reasons and titles, and from the\n"
        "backups that handbell made. Counts stay, by bib number. It can't be undone. Pages, cards\n"
        "and exports written before, and other people's copies, are out of its reach: delete\n"
        "them yourself."
    )


def run(args: argparse.Namespace) -> Forgot:
    """Call the operation after asking."""
    from handbell.work.after.forget import forget_person

    def forget(dry_run: bool) -> Forgot:
        return forget_person(
            args.name, dry_run=dry_run, keep_plans=args.keep_plans, store_at=args.store
        )

    if args.dry_run:
        return forget(True)
    if not args.yes:
        shared.confirm(
            _where(forget(True), "The name stands in"),
            "forget",
            refused="Nothing was forgotten",
            nobody="Forgetting can't be undone",
        )
    return forget(False)


def text(result: Forgot, out: Out) -> None:
    """Print where the name stood, and what is out of reach."""
    out.line(_where(result, "Forgotten" if result.forgotten else "Found"))
    if result.alike:
        names = " or ".join(map(quoted, result.alike))
        out.line(f"Nobody is called so. Was {names} meant? They are known as before.")
    out.lines(result.warnings)
    if result.forgotten:
        out.line("Pages, cards and exports written before are out of reach: delete them.")


def _where(found: Forgot, word: str) -> str:
    rows = ", ".join(f"{table} {count}" for table, count in found.rows.items())
    backups = f"; backups: {', '.join(found.backups)}" if found.backups else ""
    files = f"; files: {', '.join(found.files)}" if found.files else ""
    return f"{word}: {rows or 'no row'}{backups}{files}."
