"""``export`` and ``import``: getting the numbers out, and handing classes to another coach."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.base.errors import UsageError
from handbell.cli.classes import store_argument
from handbell.cli.render import Result

if TYPE_CHECKING:
    from rich.console import Console

    from handbell.store import Store
    from handbell.store.exports.schema import Wanted

KINDS = ("csv", "json", "parquet", "bundle")
BY_SUFFIX = {".json": "json", ".zip": "bundle"}


def export_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``export``."""
    parser.add_argument("path", type=Path, help="a folder (csv, parquet) or file (json, bundle)")
    parser.add_argument("classes", metavar="CLASS", type=int, nargs="*", help="only these")
    parser.add_argument(
        "--as",
        dest="kind",
        choices=KINDS,
        help="default: json for NAME.json, bundle for NAME.zip, else csv",
    )
    parser.add_argument("--person", metavar="NAME", help="only what is known of one person")
    parser.add_argument(
        "--names",
        action=argparse.BooleanOptionalAction,
        help="whether people's names are in it (default: yes, but not in a bundle)",
    )
    parser.add_argument(
        "--bom", action="store_true", help="begin CSV files so that spreadsheets know UTF-8"
    )
    store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell export tables                a CSV file for each table\n"
        "  handbell export tables 3 4 --as parquet\n"
        "  handbell export all.json --no-names\n"
        '  handbell export mina --person "Mina"\n'
        "  handbell export classes.zip 3 4       for another coach: handbell import classes.zip\n\n"
        "docs/engineers/store.md lists every column. In CSV files, text that a spreadsheet would\n"
        "take for a formula begins with an apostrophe. What was exported is out of the reach of\n"
        "handbell forget."
    )


def export_run(args: argparse.Namespace) -> Result:
    """Write what is wanted, and say how much it is."""
    from handbell.store import open_store
    from handbell.store.exports.schema import Wanted

    kind = args.kind or BY_SUFFIX.get(args.path.suffix.lower(), "csv")
    if kind == "bundle" and args.person:
        raise UsageError("A bundle holds whole classes, not one person's data", "Use --as json")
    if args.person and args.names is False:
        raise UsageError("One person's data without names can't be told", "Leave --no-names out")
    if args.bom and kind != "csv":
        raise UsageError("--bom is for CSV files only", "Leave it out")
    if args.path.is_dir() and kind in ("json", "bundle"):
        raise UsageError(f"{args.path} is a folder", "Give a file's name")
    names = args.names if args.names is not None else kind != "bundle"
    classes = frozenset(args.classes) or None
    with open_store(args.store) as store:
        wanted = Wanted(classes, args.person or "", names)
        counts, kept_out = _write(store, kind, args, wanted)
        looked_for = 0 if names else _count_names(store)

    def text(out: Console) -> None:
        said = ", ".join(f"{table} {count}" for table, count in counts.items())
        out.print(f"{args.path}: {said}.", markup=False, soft_wrap=True)
        if not names:
            for words in kept_out:
                out.print(f"{words}.", markup=False, soft_wrap=True)
            out.print(_no_names(looked_for, kind), soft_wrap=True)

    data = {"path": str(args.path), "as": kind, "rows": counts, "names": names}
    return Result(data | {"kept_out": kept_out, "looked_for": looked_for}, text)


def _no_names(looked_for: int, kind: str) -> str:
    """Say what was looked for and what can't be found."""
    where = "titles, exercises' names" + (" and the plan's text" if kind == "bundle" else "")
    return (
        f"None of the {looked_for} names known here is in it, whole, nor a word of one outside "
        f"exercises' names. Nicknames and names that were never entered can't be found: look at "
        f"{where} yourself. --names puts names in."
    )


def _count_names(store: Store) -> int:
    from handbell.store.people.known_names import KnownNames

    with store.reading() as conn:
        return KnownNames(conn).count


def _write(
    store: Store, kind: str, args: argparse.Namespace, wanted: Wanted
) -> tuple[dict[str, int], list[str]]:
    """Write what is wanted; return rows by table, and sentences on names kept out."""
    from handbell.store.exports import export

    if kind == "bundle":
        from handbell.store.bundles.bundle import export_bundle

        done = export_bundle(store, args.path, wanted)
        return done.rows, done.kept_out
    if kind == "csv":
        return export.export_csv(store, args.path, wanted, args.bom), []
    if kind == "json":
        return export.export_json(store, args.path, wanted), []
    return export.export_parquet(store, args.path, wanted), []


def import_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``import``."""
    parser.add_argument("bundle", type=Path, help="a bundle that handbell export wrote")
    store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell import classes.zip\n\n"
        "Everything is checked first; of a damaged bundle nothing is taken in. Logs that are here\n"
        "already stay as they are, so importing twice does no harm. A class of which no log is\n"
        "here and whose boxes were never plugged in here stays apart from yours until you say\n"
        "that it is one of them: handbell class 17 --join 16.\n"
        "To take it out again: handbell class 17 --delete"
    )


def import_run(args: argparse.Namespace) -> Result:
    """Take in another coach's classes."""
    from handbell.store import open_store
    from handbell.store.bundles.taking_in import import_bundle

    with open_store(args.store) as store:
        done = import_bundle(store, args.bundle)
    data: dict[str, Any] = vars(done)

    def text(out: Console) -> None:
        where = ", ".join(map(str, done.classes))
        out.print(f"{done.runs_new} new of {done.runs} logs, of class {where or 'none'}.")
        if done.amendments_new or done.names_new:
            out.print(f"{done.amendments_new} amendments and {done.names_new} names are new.")
        for class_id, alike in done.apart.items():
            out.print(_apart(class_id, alike), markup=False, soft_wrap=True)
        for words in [*done.kept, *done.doubts]:
            out.print(words, markup=False, soft_wrap=True)

    return Result(data, text)


def _apart(class_id: int, alike: int | None) -> str:
    """Say that a class is somebody else's, and what to do if it is not."""
    said = (
        f"Class {class_id} is kept apart from yours: none of its logs was here, nor all its boxes. "
    )
    if alike is not None:
        said += f"If it is one with class {alike}: handbell class {class_id} --join {alike}. "
    return said + f"To take it out again: handbell class {class_id} --delete"
