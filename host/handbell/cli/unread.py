"""``unread``: the logs that can't be read; try them again, say what they are, get them out."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.base.errors import HandbellError, UsageError
from handbell.cli.classes import store_argument
from handbell.cli.render import Result

if TYPE_CHECKING:
    from rich.console import Console

    from handbell.store.logs.ingest import Ingested
    from handbell.store.logs.salvage import Unread


def unread_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``unread``."""
    parser.add_argument("log", metavar="LOG", nargs="?", default="", help="one log: its ID's start")
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--again", action="store_true", help="try to read it, or all of them, again")
    what.add_argument("--of", metavar="CLASS", type=int, help="read it as a log of this class")
    what.add_argument(
        "--plan-of", metavar="CLASS", type=int, help="it is another class of this class's plan"
    )
    what.add_argument("--back", action="store_true", help="it was read as what it is not")
    what.add_argument("--out", metavar="FILE", type=Path, help="write its bytes to a file")
    store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell unread                       list them\n"
        "  handbell unread --again               after an update, or when more logs have come in\n"
        "  handbell unread 1f0c22aa --of 16      the box was in class 16\n"
        "  handbell unread 1f0c22aa --plan-of 16 it is of the same plan, on another day\n"
        "  handbell unread 1f0c22aa --back       put it back: it was read as what it is not\n"
        "  handbell unread 1f0c22aa --out log.bin\n\n"
        "Nothing is lost as long as a log is listed here."
    )


def unread_run(args: argparse.Namespace) -> Result:
    """List what can't be read, or do something about it."""
    from handbell.store import open_store
    from handbell.store.logs import salvage

    said = args.plan_of if args.of is None else args.of
    one = args.out is not None or said is not None or args.back
    if one and not args.log:
        raise UsageError("It is not said which log", "handbell unread lists them")
    moved: list[str] = []
    with open_store(args.store) as store:
        if args.back:
            aside, moved = salvage.put_back(store, args.log)
            some = [aside]
        elif one:
            some = [salvage.one_unread(store, args.log)]
        else:
            some = salvage.unread(store, args.log)
        if args.out is not None:
            _write(args.out, some[0].journal)
        taken: list[Ingested] = []
        if args.again or said is not None:
            taken = salvage.try_again(store, some, said, in_class=args.plan_of is None)
        left = some if args.out is not None else salvage.unread(store, args.log)
    return _told(left, taken, args.out, moved)


def _write(path: Path, data: bytes) -> None:
    try:
        with path.open("xb") as out:
            out.write(data)
    except OSError as error:
        raise HandbellError(
            f"{path} can't be written: {error.strerror or error}", "Give another file"
        ) from error


def _told(
    left: list[Unread], taken: list[Ingested], out_path: Path | None, moved: list[str]
) -> Result:
    def text(out: Console) -> None:
        for one in taken:
            where = "no class" if one.class_id is None else f"class {one.class_id}"
            out.print(f"Read after all: a log of {where}.")
            for words in [*one.mismatches, *one.differ]:
                out.print(f"  note: {words}", markup=False, soft_wrap=True)
        for log in left:
            size = f"{len(log.journal)} bytes"
            out.print(
                f"{log.digest[:8]}  box {log.box_id[-4:]}, {size}: {log.reason}", markup=False
            )
        for words in moved:
            out.print(f"Note: {words}.", markup=False, soft_wrap=True)
        if out_path is not None:
            out.print(f"{out_path} has its bytes.", markup=False, soft_wrap=True)
        elif not left and not taken:
            out.print("Every log could be read.")

    rows = [
        {"log": r.digest, "box": r.box_id, "reason": r.reason, "bytes": len(r.journal)}
        for r in left
    ]
    data: dict[str, Any] = {"unread": rows, "read": [vars(one) for one in taken], "moved": moved}
    return Result(data, text)
