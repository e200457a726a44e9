"""``export``: tables for a sheet, or a bundle for another coach."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.choices import BUNDLE, FORMS
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.after.export import Exported


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument(
        "path", type=Path, help="a folder (csv, parquet, months) or file (json, bundle)"
    )
    parser.add_argument("classes", metavar="CLASS", type=int, nargs="*", help="only these")
    parser.add_argument(
        "--as",
        dest="kind",
        choices=FORMS,
        help="the form (default: json for NAME.json, bundle for NAME.zip, else csv)",
    )
    parser.add_argument(
        "--person", metavar="NAME", default="", help="only what is known of one person"
    )
    parser.add_argument(
        "--names",
        action=argparse.BooleanOptionalAction,
        help="whether people's names are in it (default: yes, but not in a bundle)",
    )
    parser.add_argument(
        "--bom", action="store_true", help="begin CSV files so that spreadsheets know UTF-8"
    )
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell export tables                a CSV file for each table\n"
        "  handbell export tables 3 4 --as parquet\n"
        "  handbell export lake --as months      Parquet files by hall and month\n"
        "  handbell export all.json --no-names\n"
        '  handbell export mina --person "Mina"\n'
        "  handbell export classes.zip 3 4       for another coach: handbell import classes.zip\n\n"
        "docs/engineers/store.md lists every column. In CSV files, text that a spreadsheet would\n"
        "take for a formula begins with an apostrophe. What was exported is out of the reach of\n"
        "handbell forget."
    )


def run(args: argparse.Namespace) -> Exported:
    """Call the operation."""
    from handbell.work.after.export import export

    what = (args.kind, args.person, args.names, args.bom)
    return export(args.path, args.classes, *what, args.store)


def text(result: Exported, out: Out) -> None:
    """Print how much was written, and what is known of names in it."""
    said = ", ".join(f"{table} {count}" for table, count in result.rows.items())
    out.line(f"{result.path}: {said}.")
    if not result.names:
        out.lines(f"{words}." for words in result.kept_out)
        out.line(_no_names(result))


def _no_names(result: Exported) -> str:
    """Say what was looked for and what can't be found."""
    plan = " and the plan's text" if result.kind == BUNDLE else ""
    return (
        f"None of the {result.looked_for} names known here is in it, whole, nor a word of one "
        "outside exercises' names. Nicknames and names that were never entered can't be found: "
        f"look at titles, exercises' names{plan} yourself. --names puts names in."
    )
