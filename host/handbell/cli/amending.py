"""``amend``: correct what was counted or said, with the original kept beside it."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from handbell.base.errors import UsageError
from handbell.base.places import COACH, named
from handbell.base.times import date_of
from handbell.cli.classes import store_argument
from handbell.cli.render import Result
from handbell.cli.reports import class_argument
from handbell_core.timeline import ASK_HOLD

if TYPE_CHECKING:
    from rich.console import Console

    from handbell.store import Store
    from handbell.store.results.amend import Change
    from handbell.store.results.queries import Amendment, ClassRecord


def amend_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``amend``."""
    class_argument(parser)
    where = parser.add_argument_group("which")
    where.add_argument("--bib", type=int, help="whose")
    where.add_argument("--exercise", metavar="NAME", default="", help="only this exercise")
    where.add_argument("--round", type=int, default=0, metavar="N", help="only this round")
    where.add_argument("--window", type=int, default=0, metavar="N", help="only this window")
    what = parser.add_argument_group("what it should be").add_mutually_exclusive_group()
    what.add_argument("--reps", type=int, metavar="N", help="the count of one window")
    what.add_argument("--held", metavar="SECONDS", help='how long it was held, or "end"')
    what.add_argument("--to-bib", type=int, metavar="BIB", help="it was somebody else's")
    what.add_argument("--invalid", action="store_true", help="it tells nothing: leave it out")
    what.add_argument("--name", help="who wore the bib in this class")
    what.add_argument("--undo", metavar="ID", help="take an amendment back")
    parser.add_argument("--why", default="", help="the reason, in a few words")
    parser.add_argument("--by", default="", metavar="COACH", help=f"who says so ({COACH})")
    store_argument(parser)
    parser.epilog = (
        "examples:\n"
        '  handbell amend newest --bib 7 --exercise "Ring rows" --round 2 --reps 9 \\\n'
        '      --why "saw one more"\n'
        '  handbell amend 3 --bib 7 --round 4 --invalid --why "a partner pressed"\n'
        '  handbell amend 3 --bib 6 --round 2 --to-bib 7 --why "changed places"\n'
        '  handbell amend 3 --bib 7 --round 2 --to-bib 6 --why "changed places"\n'
        '  handbell amend 3 --bib 7 --name "Otto" --why "wore Mina\'s bib"\n'
        "  handbell amend 3                    list what was amended\n"
        "  handbell amend 3 --undo 1f0c22aa\n\n"
        "What was counted is kept and comes back when it is undone. Saying the same twice does\n"
        "no harm."
    )


def amend_run(args: argparse.Namespace) -> Result:
    """Amend something of a class, undo that, or list what was amended."""
    from handbell.store import open_store
    from handbell.store.results.amend import twice_there, undo
    from handbell.store.results.queries import load_class

    with open_store(args.store) as store:
        record = load_class(store, args.class_id)
        if args.undo:
            done = [undo(store, record, args.undo, _coach(args), _now_us())]
        elif (change := _change(args)) is not None:
            done = _amend(store, record, args, change)
        else:
            done = record.amendments
        exercises, holds = _exercises(record), _holds(record)
        changed = done is not record.amendments
        twice = twice_there(load_class(store, record.row.id), done) if changed else []
    data: dict[str, Any] = {
        "class_id": record.row.id,
        "twice": twice,
        "amendments": [{**vars(a), "exercise": exercises.get((a.run, a.window))} for a in done],
    }

    def text(out: Console) -> None:
        for a in done:
            key = a.run, a.window
            out.print(_line(a, exercises.get(key, ""), key in holds), markup=False)
        for words in twice:
            out.print(words, markup=False, soft_wrap=True)
        if not done:
            out.print(f"Nothing of class {record.row.id} was amended.", markup=False)

    return Result(data, text)


def _change(args: argparse.Namespace) -> Change | None:
    from handbell.store.results import settle
    from handbell.store.results.amend import Change

    said = {
        settle.REPS: None if args.reps is None else str(args.reps),
        settle.HELD: None if args.held is None else _held(args.held),
        settle.BIB: None if args.to_bib is None else str(args.to_bib),
        settle.NOTHING: "yes" if args.invalid else None,
        settle.NAME: args.name,
    }
    for what, value in said.items():
        if value is not None:
            if args.bib is None:
                raise UsageError("It is not said whose", "Give --bib")
            if not args.why.strip():
                raise UsageError("An amendment needs a reason", 'Give --why "..."')
            return Change(what, value, _coach(args), args.why, _now_us())
    return None


def _held(word: str) -> str:
    from handbell.store.results.settle import TO_END

    if word == TO_END:
        return word
    try:
        return str(round(float(word) * 10))
    except (ValueError, OverflowError):
        raise UsageError(f"{word[:20]!r} is no time in seconds", 'Say 24.5, or "end"') from None


def _amend(
    store: Store, record: ClassRecord, args: argparse.Namespace, change: Change
) -> list[Amendment]:
    from handbell.store.results.amend import amend_efforts, amend_name, one_window, places_of
    from handbell.store.results.settle import BIB, HELD, NAME, REPS

    if change.what == NAME:
        return amend_name(store, record, args.bib, change)
    where = args.bib, args.exercise, args.round, args.window
    places = places_of(record, *where, as_planned=change.what == BIB)
    if change.what in (REPS, HELD):
        places = one_window(record, places)
    return amend_efforts(store, record, places, change)


def _exercises(record: ClassRecord) -> dict[tuple[int, int], str]:
    return {
        (run.id, window.number): f"{window.name}, round {window.round}"
        for run in record.runs
        for window in run.timeline.windows.values()
    }


def _holds(record: ClassRecord) -> set[tuple[int, int]]:
    return {
        (run.id, window.number)
        for run in record.runs
        for window in run.timeline.windows.values()
        if window.ask == ASK_HOLD
    }


def _line(a: Amendment, exercise: str, hold: bool) -> str:

    where = f"bib {a.bib}, {exercise}" if exercise else f"bib {a.bib}"
    undone = f" (undone {date_of(a.undone_utc_us)})" if a.undone_utc_us else ""
    why = f": {a.why}" if a.why else ""
    by = f", {a.who}" if a.who else ""
    return f"{a.digest[:8]}  {where}: {words_of(a, hold)}{why} ({date_of(a.at_utc_us)}{by}){undone}"


def words_of(a: Amendment, hold: bool) -> str:
    """Return what an amendment changed, in words; ``hold``: of a position to hold."""
    from handbell.store.results import settle

    was = a.was or "nothing"
    if a.what == settle.NOTHING:
        return f"left out, was {_seconds(was) if hold else was}"
    if a.what == settle.HELD:
        return f"held {_seconds(a.value)}, was {_seconds(was)}"
    units = {settle.REPS: " reps", settle.BIB: "", settle.NAME: ""}
    kind = {settle.REPS: "", settle.BIB: "of bib ", settle.NAME: "worn by "}
    return f"{kind[a.what]}{a.value or 'nobody'}{units[a.what]}, was {was}"


def _seconds(value: str) -> str:
    return f"{int(value) / 10:.1f} s" if value.isdecimal() else f"to the {value}"


def _coach(args: argparse.Namespace) -> str:
    import getpass

    said = args.by or named(COACH)
    if said:
        return str(said)
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return ""


def _now_us() -> int:
    import time

    return time.time_ns() // 1000
