"""``store``: is it sound, copy it, put a copy back, prepare a server for many halls."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.errors import UsageError
from handbell.base.words import listed, several
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.store.results.checking import Differs
    from handbell.work.after.backups import BackedUp, Checked, Restored, Struck
    from handbell.work.after.servers import ServerTold

CHECK, BACKUP, RESTORE, GONE, SERVER = "check", "backup", "restore", "gone", "server"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument("what", choices=(CHECK, BACKUP, RESTORE, GONE, SERVER), help="what to do")
    parser.add_argument(
        "file",
        type=Path,
        nargs="?",
        metavar="FILE",
        help="the backup: with backup a new file, or a folder (default: beside the store)",
    )
    parser.set_defaults(more_go_to="file", more_as=Path)
    shared.store_argument(parser)
    on_server = parser.add_argument_group("with server, by who keeps it")
    on_server.add_argument("--hall", metavar="FILE", help="a hall: what hall --share wrote")
    for option, words in (
        ("--coach", "a login that sees this hall; made if it is not there"),
        ("--without", "a login that sees this hall no more"),
        ("--owner", "a login that sees all halls, without names"),
    ):
        on_server.add_argument(option, metavar="LOGIN", action="append", default=[], help=words)
    on_server.add_argument(
        "--dry-run", action="store_true", help="print what would be said to the server"
    )
    parser.epilog = (
        "examples:\n"
        "  handbell store check\n"
        "  handbell store backup\n"
        "  handbell store backup /media/stick\n"
        "  handbell store restore store-backup-2026-11-26.sqlite\n"
        "  handbell store gone /media/stick/store-backup-2026-11-26.sqlite\n"
        "  handbell store server --hall north.toml --coach ann\n\n"
        "A check counts every log again and changes nothing. What stood there before a backup is\n"
        "put back is kept beside it. Handbell makes a backup by itself before a class is deleted,\n"
        "a bundle imported, people leave the roster, and an update changes the store; not before\n"
        "a person is forgotten, who is then forgotten in the backups, too. A backup that you\n"
        "wrote to another place and deleted is looked for until you say that it is gone."
    )


def run(args: argparse.Namespace) -> Checked | BackedUp | Restored | Struck | ServerTold:
    """Call the operation."""
    for_server = (args.hall, args.coach, args.without, args.owner, args.dry_run)
    if args.what == SERVER:
        return _server(args)
    if any(for_server):
        raise UsageError("Halls and logins are those of a server", "Say handbell store server")
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


def _server(args: argparse.Namespace) -> ServerTold:
    from handbell.work.after.servers import prepare_server

    if args.file is not None:
        raise UsageError("A server takes no backup", f"Name a hall's file: --hall {args.file}")
    logins = (tuple(args.coach), tuple(args.owner), tuple(args.without))
    return prepare_server(args.hall, *logins, args.dry_run, args.store)


def text(result: Checked | BackedUp | Restored | Struck | ServerTold, out: Out) -> None:
    """Print what was found, or where the copy is."""
    from handbell.work.after.backups import BackedUp, Restored, Struck
    from handbell.work.after.servers import ServerTold

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
    elif isinstance(result, ServerTold):
        _prepared(result, out)
    else:
        _checked(result, out)


def _prepared(result: ServerTold, out: Out) -> None:
    if result.dry_run:
        out.lines(f"{words};" for words in result.statements)
        return
    out.line(f"{result.store} is prepared for many halls.")
    for hall in result.halls:
        logins = listed(hall.coaches) or "no login yet"
        out.line(f"  {hall.name or 'without a name'} ({hall.number}): {logins}")
    out.line("A login that was made has no password yet: psql's \\password sets one.")


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
