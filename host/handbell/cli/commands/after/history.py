"""``history``: who came how often, how hard it was, and one person's months."""

from __future__ import annotations

import argparse
from datetime import date
from typing import TYPE_CHECKING

from handbell.base.times import day_of
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.analysis.past.load import Week
    from handbell.analysis.progress import ExerciseProgress
    from handbell.work.after.history import Everybody, Months

WEEKS = 26


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument(
        "who",
        nargs="?",
        metavar="WHO",
        help="a name, or the number of the bib they wore last (default: everybody)",
    )
    parser.add_argument(
        "--weeks",
        type=shared.weeks,
        default=WEEKS,
        metavar="N",
        help=f"how far back to look (default: {WEEKS})",
    )
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell history                    who came how often, and how hard it was\n"
        "  handbell history Mina\n"
        "  handbell history 7 --weeks 12"
    )


def run(args: argparse.Namespace) -> Everybody | Months:
    """Call the operation."""
    from handbell.work.after import history

    if args.who is None:
        return history.everybody(args.weeks, args.store)
    return history.months_of(args.who, args.weeks, args.store)


def text(result: Everybody | Months, out: Out) -> None:
    """Print a table of people, or of one person's exercises and weeks."""
    from handbell.work.after.history import Everybody

    shared.passed_over(out, result.passed_over, result.until, "report")
    if isinstance(result, Everybody):
        _people(result, out)
    else:
        _person(result, out)
    out.lines(f"{words}." for words in result.left_out)


def _people(result: Everybody, out: Out) -> None:
    rows = [
        (
            one.name,
            f"{one.came} of {one.planned}",
            _day(one.last) if one.last else "",
            _number(one.rating_median),
            _number(one.weekly_load_median),
        )
        for one in result.people
    ]
    headings = ("who", "came to", "last", "how hard, median", "load a week, median")
    out.table(headings, rows, right=(1, 3, 4))


def _person(result: Months, out: Out) -> None:
    out.line(f"{result.name}: came to {result.came} of {result.planned} classes")
    headings = ("exercise", "what", "classes", "first", "last", "a week")
    out.table(headings, [_exercise(e) for e in result.exercises], right=(2, 3, 4))
    out.line()
    headings = ("week from", "classes", "load", "monotony", "strain", "")
    out.table(headings, [_week(w) for w in result.weeks], right=(1, 2, 3, 4))
    if result.weeks:
        kind = result.weeks[0].deviation.value
        out.line(f"Monotony and strain with the {kind} standard deviation.")
    out.line(result.note)


def _exercise(e: ExerciseProgress) -> tuple[str, ...]:
    goals = "-".join(map(str, dict.fromkeys(e.goals))) if any(e.goals) else ""
    return (
        " ".join(filter(None, (e.name, goals))),
        e.what,
        str(len(e.scores)),
        _score(e, 0),
        _score(e, -1),
        _trend(e),
    )


def _score(e: ExerciseProgress, n: int) -> str:
    return f"{e.bounds[n]} {e.scores[n]:.1f}".strip()


def _trend(e: ExerciseProgress) -> str:
    weekly = e.trend.weekly
    if weekly is None:
        return e.trend.why_not
    words = f"{weekly.slope:+.2f} ({weekly.low:+.2f} to {weekly.high:+.2f})"
    return words if e.direction else f"{words}, may be none"


def _week(week: Week) -> tuple[str, ...]:
    figures = (week.total, week.monotony, week.strain)
    numbers = [_number(f, 2 if n == 1 else 0) for n, f in enumerate(figures)]
    return (_day(week.first), str(week.classes), *numbers, week.why_not)


def _day(day: date) -> str:
    return f"{day_of(day)} {day.year}"


def _number(value: float | None, places: int = 0) -> str:
    return "-" if value is None else f"{value:.{places}f}"
