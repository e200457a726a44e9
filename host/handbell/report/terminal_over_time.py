"""The reports on an athlete and on the group in the terminal: what the pages say, in short."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handbell.base.times import day_of, days_of
from handbell.base.words import several

from .athlete import AthleteReport
from .group_model import GroupReport
from .model import ClassReport
from .months import trend_words
from .terminal import add_row, new_table, print_report
from .views_over_time import person_cells, week_cells

if TYPE_CHECKING:
    from rich.console import Console

    from .page import Report


def print_any(report: Report, out: Console) -> None:
    """Print a report of whatever kind."""
    if isinstance(report, ClassReport):
        print_report(report, out)
    elif isinstance(report, AthleteReport):
        print_athlete(report, out)
    else:
        print_group(report, out)


def print_athlete(report: AthleteReport, out: Console) -> None:
    """Print one athlete's months."""
    out.print(f"{report.name}, {days_of(report.first, report.last)}", style="bold", markup=False)
    out.print()
    for sentence in report.headline:
        out.print(f"- {sentence}", markup=False)
    out.print()
    out.print("Exercises", style="bold")
    for months in report.exercises:
        last = months.marks[-1]
        score = "" if last.score is None else f"{last.score:.1f} {months.unit}, "
        made = f"{last.made} of {last.judged} made, " if last.judged else ""
        out.print(
            f"- {months.name}: {made}{score}asked for {last.asked}. {trend_words(months)}",
            markup=False,
        )
    out.print()
    out.print(report.caution, style="dim", markup=False)


def print_group(report: GroupReport, out: Console) -> None:
    """Print the group's weeks."""
    classes = several(report.classes, "class", "classes")
    out.print(f"The group, {days_of(report.first, report.last)}, {classes}", style="bold")
    out.print()
    for sentence in report.headline:
        out.print(f"- {sentence}", markup=False)
    if report.talk or report.away:
        out.print()
        out.print("Who to talk to", style="bold")
    for gone in report.away:
        out.print(f"- {gone.name}: not seen since {day_of(gone.last)}.", markup=False)
    for one in report.talk:
        for why in one.why:
            out.print(f"- {one.name}: {why}", markup=False)
    out.print()
    weeks = new_table("week of")
    for heading in ("classes", "came", "made", "how hard", "load", "monotony", "strain"):
        weeks.add_column(heading, justify="right")
    for week in report.weeks:
        add_row(weeks, day_of(week.first), *week_cells(week))
    out.print(weeks)
    people = new_table("name")
    for heading in ("came", "last", "made", "how hard", "load a week"):
        people.add_column(heading, justify="right")
    people.add_column("going up")
    people.add_column("going down")
    for person in report.people:
        add_row(people, person.name, *person_cells(person))
    out.print(people)
    out.print(report.caution, style="dim", markup=False)
