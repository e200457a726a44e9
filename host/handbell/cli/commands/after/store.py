"""``store``: is it sound, copy it, put a copy back."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.errors import UsageError
from handbell.base.words import several
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.store.results.checking import Differs
    from handbell.work.after.backups import BackedUp, Checked, Restored, Struck

CHECK, BACKUP, RESTORE, GONE = "check", "backup", "restore", "gone"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument("what", choices=(CHECK, BACKUP, RESTORE, GONE), help="what to do")
    parser.add_argument(
        "file",
        type=Path,
        nargs="?",
        metavar="FILE",
        help="the backup: with backup a new file, or a folder (default: beside the store)",
    )
    parser.set_defaults(more_go_to="file", more_as=Path)
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell store check\n"
        "  handbell store backup\n"
        "  handbell store backup /media/stick\n"
        "  handbell store restore store-backup-2026-11-26.sqlite\n"
        "  handbell store gone /media/stick/store-backup-2026-11-26.sqlite\n\n"
        "A check counts every log again and changes nothing. What stood there before a backup is\n"
        "put back is kept beside it. Handbell makes a backup by itself before a class is deleted,\n"
        "a bundle imported, people leave the roster, and an update changes the store; not before\n"
        "a person is forgotten, who is then forgotten in the backups, too. A backup that you\n"
        "wrote to another place and deleted is looked for until you say that it is gone."
    )


def run(args: argparse.Namespace) -> Checked | BackedUp | Restored | Struck:
    """Call the operation."""
    from handbell.work.after.backups import back_up, check_store, restore, strike

    if args.what == BACKUP:
        return back_up(args.file, args.store)
    if args.what == RESTORE:
        if args.file is None:
            raise UsageError("It is not said which backup", "handbell store check lists them")
        return restore(args.file, args.store)
    if args.what == GONE:
        if args.file is None:
            raise UsageError("It is not said which backup", "handbell store check lists them")
        return strike(args.file, args.store)
    if args.file is not None:
        raise UsageError("A check takes no file", f"Name the store: --store {args.file}")
    return check_store(args.store)


def text(result: Checked | BackedUp | Restored | Struck, out: Out) -> None:
    """Print what was found, or where the copy is."""
    from handbell.work.after.backups import BackedUp, Restored, Struck

    if isinstance(result, BackedUp):
        kb = max(1, round(result.size_bytes / 1000))
        size = f"{kb} KB" if kb < 1000 else f"{round(kb / 1000)} MB"
        out.line(f"{result.backup} is a copy of {result.store} ({size}).")
    elif isinstance(result, Restored):
        out.line(f"{result.store} is as {result.backup} had it: {_classes(result.classes)}.")
        if result.kept is not None:
            out.line(f"What was there before is kept in {result.kept}")
        out.line("Who was forgotten since that backup may be in it again: forget them anew.")
    elif isinstance(result, Struck):
        out.line(f"{result.backup} is not looked for any more.")
    else:
        _checked(result, out)


def _checked(result: Checked, out: Out) -> None:
    for words in result.damage:
        out.line(f"{result.store} is damaged: {words}")
    out.lines(_differs(one) for one in result.differ)
    if result.unread:
        out.line(f"{several(result.unread, 'log')} can't be read: handbell unread lists them.")
    if result.ok:
        logs = several(result.logs, "log")
        out.line(f"{result.store} is sound. {_classes(result.classes)}, {logs}, all counted again.")
    else:
        out.line("To put a backup back: handbell store restore FILE.")
    out.line("Its backups here:" if result.backups else "No backup lies beside it.")
    out.lines(f"  {path}" for path in result.backups)
    if result.elsewhere:
        out.line("Those in other places:")
    for path in result.elsewhere:
        out.line(f"  {path}{' (not there now)' if path in result.gone else ''}")
    out.lines(result.notes)


def _differs(one: Differs) -> str:
    if one.class_id is None:
        return f"What box plan {one.log[:8]} asked for stands otherwise in the store: {one.what}"
    return f"Class {one.class_id}, log {one.log[:8]}, is counted otherwise now: {one.what}"


def _classes(count: int) -> str:
    return several(count, "class", "classes")
