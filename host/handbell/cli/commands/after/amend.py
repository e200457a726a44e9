"""``amend``: correct what was counted or said, with the original kept beside it."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from handbell.base.places import COACH
from handbell.base.times import date_of
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.after.amend import Amended, Amendments


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    shared.class_argument(parser)
    where = parser.add_argument_group("which")
    where.add_argument("--bib", type=int, help="whose")
    where.add_argument("--exercise", metavar="NAME", default="", help="only this exercise")
    where.add_argument("--round", type=int, default=0, metavar="N", help="only this round")
    where.add_argument("--window", type=int, default=0, metavar="N", help="only this window")
    where.add_argument("--block", default="", metavar="N", help="only this block, or its name")
    where.add_argument(
        "--from-window", type=int, default=0, metavar="N", help="only from this window on"
    )
    what = parser.add_argument_group("what it should be").add_mutually_exclusive_group()
    what.add_argument("--reps", type=int, metavar="N", help="the count of one window")
    what.add_argument("--held", metavar="SECONDS", help='how long it was held, or "end"')
    what.add_argument("--to-bib", type=int, metavar="BIB", help="it was somebody else's")
    what.add_argument(
        "--swap", type=int, nargs=2, metavar="BIB", help="these two wore each other's bibs"
    )
    what.add_argument("--invalid", action="store_true", help="it tells nothing: leave it out")
    what.add_argument("--name", help="who wore the bib in this class")
    what.add_argument("--undo", metavar="ID", help="take back all that was said with it")
    parser.add_argument("--why", default="", help="the reason, in a few words")
    parser.add_argument("--by", default="", metavar="COACH", help=f"who says so (default: {COACH})")
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n"
        '  handbell amend newest --bib 7 --exercise "Ring rows" --round 2 --reps 9 \\\n'
        '      --why "saw one more"\n'
        '  handbell amend 3 --bib 7 --round 4 --invalid --why "a partner pressed"\n'
        '  handbell amend 3 --swap 6 7 --round 2 --why "changed places"\n'
        '  handbell amend 3 --bib 6 --block 2 --to-bib 9 --why "went home"\n'
        '  handbell amend 3 --bib 7 --name "Otto" --why "wore Mina\'s bib"\n'
        "  handbell amend 3                    list what was amended\n"
        "  handbell amend 3 --undo 1f0c22aa\n\n"
        "What was counted is kept and comes back when it is undone. Saying the same twice does\n"
        "no harm. --swap without --block, --round, --window or --from-window is of the whole class."
    )


def run(args: argparse.Namespace) -> Amendments:
    """Call the operation."""
    from handbell.work.after import amend

    if args.undo:
        return amend.undo_amendment(args.class_id, args.undo, args.by, args.store)
    swap = tuple(args.swap) if args.swap else None
    should = amend.Should(args.reps, args.held, args.to_bib, args.invalid, args.name, swap)
    among = args.exercise, args.round, args.window, args.block, args.from_window
    where = amend.Where(args.bib, *among)
    if should == amend.Should() and where == amend.Where():
        return amend.amendments_of(args.class_id, args.store)
    return amend.amend(args.class_id, where, should, args.why, args.by, args.store)


def text(result: Amendments, out: Out) -> None:
    """Print of which class, and a line for each batch: of one amendment, or of several as one."""
    from handbell.store.results.batches import batched

    shared.of_class(out, result)
    out.lines(_line(some) for some in batched(result.amendments, lambda a: a.batch))
    out.lines(result.twice)
    if not result.amendments:
        out.line(f"Nothing of class {result.class_id} was amended.")


def _line(batch: list[Amended]) -> str:
    a = batch[0]
    undone = f" (undone {date_of(a.undone_utc_us)})" if a.undone_utc_us else ""
    why = f": {a.why}" if a.why else ""
    by = f", {a.who}" if a.who else ""
    what = _one(a) if len(batch) == 1 else _several(batch)
    return f"{a.batch[:8]}  {what}{why} ({date_of(a.at_utc_us)}{by}){undone}"


def _one(a: Amended) -> str:
    where = f"bib {a.bib}, {a.exercise}" if a.exercise else f"bib {a.bib}"
    return f"{where}: {_words(a)}"


def _several(batch: list[Amended]) -> str:
    """Say of which windows a batch is, and what it says of all of them."""
    from handbell.store.results import settle
    from handbell.store.results.batches import exchanged, windows_words

    places = [(a.name, a.round, a.window) for a in batch]
    where = windows_words(places)
    if batch[0].what == settle.BIB:
        pair = exchanged((a.bib, int(a.value)) for a in batch)
        if pair:
            return f"bib {pair[0]} and bib {pair[1]} exchanged, {where}"
    different = {(a.what, a.value) for a in batch}
    what = _value(batch[0]) if len(different) == 1 else "several values"
    return f"bib {batch[0].bib}, {where}: {what}"


def _words(a: Amended) -> str:
    from handbell.store.results import settle

    in_tenths = a.hold and a.what in (settle.NOTHING, settle.HELD)
    was = a.was or "nothing"
    return f"{_value(a)}, was {_seconds(was) if in_tenths else was}"


def _value(a: Amended) -> str:
    from handbell.store.results import settle

    if a.what == settle.NOTHING:
        return "left out"
    if a.what == settle.HELD:
        return f"held {_seconds(a.value)}"
    units = {settle.REPS: " reps", settle.BIB: "", settle.NAME: ""}
    kind = {settle.REPS: "", settle.BIB: "of bib ", settle.NAME: "worn by "}
    return f"{kind[a.what]}{a.value or 'nobody'}{units[a.what]}"


def _seconds(value: str) -> str:
    return f"{int(value) / 10:.1f} s" if value.isdecimal() else f"to the {value}"
