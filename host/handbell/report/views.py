"""What a page's template is given beside the report: words and charts for each place on it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from handbell.base.times import date_of

from .cells import cell_words, fade_words, number_of
from .charts import Chart, chart_of
from .model import ClassReport, ExerciseTable
from .skew import rang_words
from .talk import ADVICE_CAUTION, change_lines


@dataclass(frozen=True)
class View:
    """A template's name, what it is given, and the names that stand inside sentences."""

    template: str
    shown: dict[str, Any]
    names: tuple[str, ...]


def class_view(report: ClassReport) -> View:
    """Return what the page of a class shows."""
    shown = {
        "when": date_of(report.start_utc_us or report.collected_utc_us),
        "exercises": [_exercise(table, f"c{n}") for n, table in enumerate(report.exercises, 1)],
        "boxes": [
            (box, *rang_words(line))
            for box, line in zip(report.boxes, report.skew.lines, strict=True)
        ],
        "changes": [
            {"exercise": c.exercise, "lines": change_lines(c)} for c in report.talk.changes
        ],
        "advice_caution": ADVICE_CAUTION,
        "has_skew": not report.skew.in_step
        or any(line.end_us is not None for line in report.skew.lines),
        "has_groups": any(p.group for p in report.people),
        "has_targets": any(p.targets for p in report.people),
        "has_holds": any(p.holds for p in report.people),
    }
    names = (*(p.name for p in report.people), *report.absent)
    return View("page_class.html", shown, names)


def _exercise(table: ExerciseTable, key: str) -> dict[str, Any]:
    from markupsafe import Markup

    chart: Chart | None = chart_of(table, key)
    rows = []
    for row in table.rows:
        by_round = {cell.round: tuple(map(together, cell_words(table, cell))) for cell in row.cells}
        rows.append(
            {
                "bib": row.bib,
                "name": row.name,
                "cells": [by_round.get(r, ("", "")) for r in _rounds(table)],
                "mean": together(number_of(row, row.mean)),
                "best": together(number_of(row, row.best)),
                "fade": together(fade_words(row)),
                "scored": row.fade_percent is not None,
            }
        )
    return {
        "table": table,
        "rounds": _rounds(table),
        "rows": rows,
        "scored": any(row["scored"] for row in rows),
        "svg": Markup(chart.svg) if chart else None,
        "caption": chart.caption if chart else "",
    }


def together(words: str) -> str:
    """Keep a number and its unit on one line."""
    return re.sub(r"(\d) (s\b|ms\b|m\b|%)", "\\1\u00a0\\2", words)


def _rounds(table: ExerciseTable) -> list[int]:
    return sorted({cell.round for row in table.rows for cell in row.cells})
