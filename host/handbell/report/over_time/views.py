"""What the pages of an athlete and of the group show: rows by month or week, and charts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from itertools import groupby
from statistics import median
from typing import Any

from handbell.base.times import MONTHS, day_of, days_of, whole_clock
from handbell.base.words import few, several, short
from handbell.coach.advice.advice import Verdict
from handbell.report.view import View

from .athlete import AthleteReport, ClassLine
from .group_model import GroupExercise, GroupPerson, GroupReport, GroupWeek
from .lines import Bar, Dot, Visit, bars, dots, visits
from .months import Mark, Months, trend_words

CLASSES_SHOWN = 8  # by day; more of them are put together by month
LAST_CLASSES = 12
CLASS_HEADS = (
    "Day",
    "Class",
    "Targets made",
    "Rest earned",
    "Holds kept",
    "How hard, 0–10",
    "Load",
)
WEEK_HEADS = ("Classes", "Came", "Made", "How hard", "Load", "Monotony", "Strain")
PERSON_HEADS = ("Came", "Last", "Made", "How hard", "Load a week", "Going up", "Going down")
EXERCISE_HEADS = (
    "People", "Made", "Going up", "Going down", "No clear change", "Too few classes",
)  # fmt: skip
NOT_ASKED = "not asked"
ARROWS = {1: "↗", -1: "↘", 0: "→", None: ""}


def athlete_view(report: AthleteReport) -> View:
    """Return what the page of an athlete shows."""
    from markupsafe import Markup

    strip = visits([Visit(c.day, c.came) for c in report.planned], "came")
    load = bars(
        [Bar(w.first, w.total, "?" if w.classes else "–") for w in report.weeks],
        "load",
        "Load by week",
        _said("load", [(w.first, w.total) for w in report.weeks]),
    )
    shown = {
        "during": days_of(report.first, report.last),
        "exercises": [_months(m, f"m{n}") for n, m in enumerate(report.exercises, 1)],
        "one_at_a_time": len({s.exercise for s in report.next if s.verdict == Verdict.HARDER.value})
        > 1,
        "strip": Markup(strip),
        "load": Markup(load),
        "classes": _filled(CLASS_HEADS, map(_class_cells, report.classes[::-1][:LAST_CLASSES])),
    }
    return View("page_athlete.html", shown, (report.name,))


def _class_cells(c: ClassLine) -> list[str]:
    doubt = ", in doubt" if c.doubtful else ""
    return [
        day_of(c.day),
        short(c.title),
        f"{c.targets_made} of {c.targets}{doubt}" if c.targets else "–",
        whole_clock(c.earned_rest_ms) if c.targets else "–",
        f"{c.holds_kept} of {c.holds}{doubt}" if c.holds else "–",
        str(c.rating) if c.rating is not None else "no answer" if c.rated else NOT_ASKED,
        f"{c.load:.0f}" if c.load is not None else "–",
    ]


def _filled(heads: Sequence[str], rows: Iterable[list[str]]) -> list[list[str]]:
    """Return the heads and rows of a table without its columns that tell nothing."""
    columns = zip(heads, *rows, strict=True)
    told = (c for c in columns if set(c[1:]) not in ({"–"}, {NOT_ASKED}))
    return [list(row) for row in zip(*told, strict=True)]


def _months(months: Months, key: str) -> dict[str, Any]:
    from markupsafe import Markup

    scored = months.scored
    by_day = len(months.marks) <= CLASSES_SHOWN
    svg = None
    if len(scored) > 1:
        values = [Dot(m.day, m.score or 0.0, _whole(m)) for m in scored]
        trend = months.trend.weekly, bool(months.direction)
        title = f"{months.name}: {months.unit}, class by class"
        said = f"{trend_words(months)} The table below holds the numbers."
        svg = Markup(dots(values, [m.day for m in months.alike], trend, key, title, said))
    return {
        "months": months,
        "arrow": ARROWS[months.direction],
        "trend": trend_words(months),
        "svg": svg,
        "asked": ", then ".join(dict.fromkeys(m.asked for m in months.marks)),
        "table": _by_day(months) if by_day else _by_month(months),
    }


def _whole(mark: Mark) -> bool:
    return mark.made == mark.judged and mark.whole and not mark.bound


def _by_day(months: Months) -> list[list[str]]:
    rows = [_row(day_of(m.day), [m])[:-1] for m in months.marks]
    return _filled(("Day", "Made", "Middle"), rows)


def _by_month(months: Months) -> list[list[str]]:
    by_month = groupby(months.marks, key=lambda m: (m.day.year, m.day.month))
    rows = [_row(MONTHS[month - 1][:3], list(some)) for (_, month), some in by_month]
    return _filled(("Month", "Made", "Middle", "Range"), rows)


def _row(when: str, marks: Sequence[Mark]) -> list[str]:
    scores = [m.score for m in marks if m.score is not None]
    judged = sum(m.judged for m in marks)
    return [
        when,
        f"{sum(m.made for m in marks)} of {judged}" if judged else "–",
        _middle(marks),
        f"{min(scores):.1f}–{max(scores):.1f}" if len(scores) > 1 else "–",
    ]


def _middle(marks: Sequence[Mark]) -> str:
    """Return the middle score, with what is not known of it, and whether data is in doubt.

    "In part": of a class not all rounds tell, since one was paused, say.
    """
    scores = [m.score for m in marks if m.score is not None]
    if not scores:
        return "–"
    bounds = {m.bound for m in marks if m.score is not None} - {""}
    bound = f" {bounds.pop()}" if len(bounds) == 1 else ""
    doubt = ", in doubt" if any(m.doubtful for m in marks) else ""
    part = ", in part" if any(not m.whole and not m.doubtful for m in marks) else ""
    return f"{median(scores):.1f}{bound}{doubt}{part}"


def group_view(report: GroupReport) -> View:
    """Return what the page of the group shows."""
    from markupsafe import Markup

    loads = [(w.first, w.load.median if w.load else None) for w in report.weeks]
    shares = [(w.first, 100 * w.made / w.judged if w.judged else None) for w in report.weeks]
    signs = ["?" if w.came else "–" for w in report.weeks]
    charts = {
        key: Markup(
            bars(
                [Bar(first, v, sign) for (first, v), sign in zip(some, signs, strict=True)],
                key,
                title,
                _said(title, some),
            )
        )
        for key, title, some in (
            ("load", "Load", loads),
            ("made", "Targets, goals and holds met, in %", shares),
        )
    }
    shown = {
        **charts,
        "during": days_of(report.first, report.last),
        "week_heads": WEEK_HEADS,
        "person_heads": PERSON_HEADS,
        "exercise_heads": EXERCISE_HEADS,
        "weeks": [
            {"when": day_of(w.first, report.last), "cells": _headed(WEEK_HEADS, week_cells(w))}
            for w in report.weeks
        ],
        "people": [
            {"name": p.name, "cells": _headed(PERSON_HEADS, person_cells(p, report.last))}
            for p in report.people
        ],
        "exercises": [
            {"name": e.name, "cells": _headed(EXERCISE_HEADS, _exercise_cells(e))}
            for e in report.exercises
        ],
    }
    return View("page_group.html", shown, tuple(p.name for p in report.people))


def _headed(heads: Sequence[str], cells: Sequence[str]) -> list[tuple[str, str]]:
    """Return cells with their heads: on a phone each stands under its own."""
    return list(zip(heads, cells, strict=True))


def week_cells(week: GroupWeek) -> list[str]:
    """Return a week's figures in the order of the page's columns."""
    load, monotony, strain = week.load, week.monotony, week.strain
    return [
        str(week.classes),
        f"{week.came} of {week.planned}" if week.planned else "–",
        _met(week) if week.judged else "–",
        f"{week.rating.median:.1f}" if week.rating else "–",
        f"{load.median:.0f}" if load else "–",
        f"{monotony.median:.2f}" if monotony else "–",
        f"{strain.median:.0f}" if strain else "–",
    ]


def person_cells(p: GroupPerson, now: date) -> list[str]:
    """Return a person's figures in the order of the page's columns, names of exercises last."""
    came = p.attendance
    return [
        f"{came.came} of {came.planned}" + (f", {came.never} no press" if came.never else ""),
        day_of(came.last, now) if came.last else "–",
        _met(p) if p.judged else "–",
        f"{p.rating:.1f}" if p.rating is not None else "–",
        f"{p.weekly_load:.0f}" if p.weekly_load is not None else "–",
        _few(p.up),
        _few(p.down),
    ]


def _exercise_cells(e: GroupExercise) -> list[str]:
    met = _met(e) if e.judged else "–"
    return [str(e.people), met, *map(str, (e.up, e.down, e.no_change, e.unclear))]


def _met(some: GroupWeek | GroupPerson | GroupExercise) -> str:
    """Return the share of windows made, and how many of them are in doubt."""
    doubt = f", {some.in_doubt} in doubt" if some.in_doubt else ""
    return f"{100 * some.made / some.judged:.0f} %{doubt}"


def _few(names: Sequence[str]) -> str:
    """Return at most three names; of more, two and how many more."""
    return ", ".join(few(names, 2)) or "–"


def _said(what: str, values: Iterable[tuple[Any, float | None]]) -> str:
    known = [(first, value) for first, value in values if value is not None]
    if not known:
        return f"No week has a figure for {what.lower()}."
    first, last = known[0], known[-1]
    most = max(known, key=lambda one: one[1])
    return (
        f"{several(len(known), 'week')}: {first[1]:.0f} in that of {day_of(first[0])}, "
        f"{last[1]:.0f} in that of {day_of(last[0])}, most in that of {day_of(most[0])}: "
        f"{most[1]:.0f}."
    )
