"""``history``: who came how often, how hard it was, and one person's months."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from handbell.base.errors import UsageError
from handbell.cli.render import Result
from handbell.cli.reports import store_argument

if TYPE_CHECKING:
    from rich.console import Console

    from handbell.analysis.load import Week
    from handbell.analysis.progress import ExerciseProgress, Progress, Regular

WEEKS_MOST = 520
NOTE = (
    "Load is rating x minutes of these classes alone. A trend is a robust slope (Theil-Sen) with "
    "its 95 % interval, and needs five classes of the same exercise, windows and reps."
)


def history_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``history``."""
    parser.add_argument(
        "who",
        nargs="?",
        metavar="WHO",
        help="a name, or the number of the bib they wore last; left out: everybody",
    )
    parser.add_argument("--weeks", type=int, default=26, help="how far back (default 26)")
    store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell history                    who came how often, and how hard it was\n"
        "  handbell history Mina\n"
        "  handbell history 7 --weeks 12"
    )


def history_run(args: argparse.Namespace) -> Result:
    """Say how often people came, or one person's progress."""
    from handbell.analysis.history import past_classes
    from handbell.analysis.progress import find_person, progress_of, regulars
    from handbell.store import open_store

    if not 1 <= args.weeks <= WEEKS_MOST:
        raise UsageError(f"--weeks {args.weeks} is out of range", f"Write 1 to {WEEKS_MOST}")
    with open_store(args.store) as store:
        classes = past_classes(store, None, args.weeks)
    if args.who is None:
        people = regulars(classes)
        data = {"people": [_regular_facts(one) for one in people], "note": NOTE}
        return Result(data, lambda out: _print_regulars(people, out))
    progress = progress_of(classes, find_person(classes, args.who))
    return Result(_progress_facts(progress), lambda out: _print_progress(progress, out))


def _regular_facts(one: Regular) -> dict[str, Any]:
    return {
        "name": one.person.name,
        "planned": one.attendance.planned,
        "came": one.attendance.came,
        "last": _iso(one.attendance.last),
        "rating_median": one.rating,
        "weekly_load_median": one.weekly_load,
    }


def _progress_facts(progress: Progress) -> dict[str, Any]:
    return {
        "name": progress.person.name,
        "planned": progress.attendance.planned,
        "came": progress.attendance.came,
        "exercises": [
            {**asdict(e), "days": [_iso(day) for day in e.days]} for e in progress.exercises
        ],
        "weeks": [
            {**asdict(w), "first": _iso(w.first), "deviation": w.deviation.value}
            for w in progress.weeks
        ],
        "note": NOTE,
    }


def _iso(day: Any) -> str | None:
    return None if day is None else str(day.isoformat())


def _print_regulars(people: Sequence[Regular], out: Console) -> None:
    rows = [
        (
            one.person.name,
            f"{one.attendance.came} of {one.attendance.planned}",
            _iso(one.attendance.last) or "",
            _number(one.rating),
            _number(one.weekly_load),
        )
        for one in people
    ]
    _table(("who", "came to", "last", "rating, median", "load a week, median"), rows, out)


def _print_progress(progress: Progress, out: Console) -> None:
    came = f"{progress.attendance.came} of {progress.attendance.planned} classes"
    out.print(f"{progress.person.name}: came to {came}", markup=False)
    _table(
        ("exercise", "what", "classes", "first", "last", "a week"),
        [_exercise_cells(e) for e in progress.exercises],
        out,
    )
    out.print("")
    _table(
        ("week from", "classes", "load", "monotony", "strain", ""),
        [_week_cells(w) for w in progress.weeks],
        out,
    )
    if progress.weeks:
        kind = progress.weeks[0].deviation.value
        out.print(f"Monotony and strain with the {kind} standard deviation.", markup=False)
    out.print(NOTE, markup=False)


def _exercise_cells(e: ExerciseProgress) -> tuple[str, ...]:
    goals = "-".join(map(str, dict.fromkeys(e.goals))) if any(e.goals) else ""
    return (
        " ".join(filter(None, (e.name, goals))),
        e.what,
        str(len(e.scores)),
        f"{e.scores[0]:.1f}",
        f"{e.scores[-1]:.1f}",
        _trend_words(e),
    )


def _trend_words(e: ExerciseProgress) -> str:
    weekly = e.trend.weekly
    if weekly is None:
        return e.trend.why_not
    words = f"{weekly.slope:+.2f} ({weekly.low:+.2f} to {weekly.high:+.2f})"
    return words if weekly.sure else f"{words}, may be none"


def _week_cells(week: Week) -> tuple[str, ...]:
    figures = (week.total, week.monotony, week.strain)
    numbers = [_number(f, 2 if n == 1 else 0) for n, f in enumerate(figures)]
    return (week.first.isoformat(), str(week.classes), *numbers, week.why_not)


def _number(value: float | None, places: int = 0) -> str:
    return "-" if value is None else f"{value:.{places}f}"


def _table(headings: Sequence[str], rows: Sequence[Sequence[str]], out: Console) -> None:
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False)
    words = ("who", "what", "exercise", "week from", "last", "a week", "")
    for heading in headings:
        table.add_column(heading, justify="left" if heading in words else "right")
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    out.print(table)
