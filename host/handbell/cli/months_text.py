"""The reports on an athlete and on the group in the terminal: what the pages say, in short."""

from __future__ import annotations

from handbell.base.times import day_of, days_of
from handbell.base.words import several
from handbell.cli.output import Out
from handbell.cli.report_text import print_list, print_report
from handbell.report.one_class.model import ClassReport
from handbell.report.over_time.athlete import AthleteReport
from handbell.report.over_time.group_model import GroupReport
from handbell.report.over_time.months import trend_words
from handbell.report.over_time.views import person_cells, week_cells


def print_any(report: ClassReport | AthleteReport | GroupReport, out: Out) -> None:
    """Print a report of whatever kind."""
    if isinstance(report, ClassReport):
        print_report(report, out)
    elif isinstance(report, AthleteReport):
        print_athlete(report, out)
    else:
        print_group(report, out)


def print_athlete(report: AthleteReport, out: Out) -> None:
    """Print one athlete's months."""
    out.line(f"{report.name}, {days_of(report.first, report.last)}", style="bold")
    out.line()
    for sentence in report.headline:
        out.line(f"- {sentence}")
    out.line()
    out.line("Exercises", style="bold")
    for months in report.exercises:
        last = months.marks[-1]
        score = "" if last.score is None else f"{last.score:.1f} {months.unit}, "
        doubt = "data in doubt, " if last.doubtful else ""
        made = f"{last.made} of {last.judged} made, {doubt}" if last.judged else doubt
        out.line(f"- {months.name}: {made}{score}task: {last.asked}. {trend_words(months)}")
    out.line()
    out.line(report.caution, style="dim")


def print_group(report: GroupReport, out: Out) -> None:
    """Print the group's weeks."""
    classes = several(report.classes, "class", "classes")
    out.line(f"The group, {days_of(report.first, report.last)}, {classes}", style="bold")
    out.line()
    print_list(report.listed, out)
    for sentence in report.headline:
        out.line(f"- {sentence}")
    out.line()
    headings = ("week of", "classes", "came", "made", "how hard", "load", "monotony", "strain")
    weeks = [(day_of(week.first, report.last), *week_cells(week)) for week in report.weeks]
    out.table(headings, weeks, right=range(1, len(headings)))
    out.line()
    headings = ("name", "came", "last", "made", "how hard", "load a week", "going up", "going down")
    people = [(person.name, *person_cells(person, report.last)) for person in report.people]
    out.table(headings, people, right=range(1, 6))
    out.line()
    out.line(report.caution, style="dim")
