"""What a page's template is given beside the report: words and charts for each place on it."""

from __future__ import annotations

from typing import Any

from handbell.base.markup import together
from handbell.base.times import class_date
from handbell.report.advised import ADVICE_CAUTION, change_lines
from handbell.report.view import View

from .cells import cell_words, fade_words, length_words, number_of, unit_of
from .charts import bars_of
from .model import ClassReport, ExerciseTable
from .skew import rang_words


def class_view(report: ClassReport) -> View:
    """Return what the page of a class shows."""
    shown = {
        "when": class_date(report.start_utc_us, report.collected_utc_us),
        "length": length_words(report),
        "exercises": [_exercise(table) for table in report.exercises],
        "boxes": [
            (box, *rang_words(line))
            for box, line in zip(report.boxes, report.skew.lines, strict=True)
        ],
        "changes": [
            {"exercise": c.exercise, "lines": change_lines(c)} for c in report.advised.changes
        ],
        "advice_caution": ADVICE_CAUTION,
        "has_skew": not report.skew.in_step
        or any(line.end_us is not None for line in report.skew.lines),
        "has_groups": any(p.group for p in report.people),
        "has_targets": any(p.targets for p in report.people),
        "has_holds": any(p.holds for p in report.people),
    }
    names = (*(p.name for p in report.people), *report.absent, *report.attendance.missing)
    return View("page_class.html", shown, names)


def _exercise(table: ExerciseTable) -> dict[str, Any]:
    from markupsafe import Markup

    bars = bars_of(table)
    rounds = sorted({cell.round for row in table.rows for cell in row.cells})
    rows = []
    for row, drawn in zip(table.rows, bars.rows, strict=True):
        said = {cell.round: _on_a_line(*cell_words(table, cell)) for cell in row.cells}
        rows.append(
            {
                "name": row.name,
                "cells": [(*said.get(r, ("", "")), Markup(drawn.get(r, ""))) for r in rounds],
                "mean": number_of(row.mean),
                "best": number_of(row.best),
                "fade": together(fade_words(row)),
                "scored": row.fade_percent is not None,
            }
        )
    return {
        "table": table,
        "rounds": rounds,
        "unit": unit_of(table),
        "rows": rows,
        "scored": any(row["scored"] for row in rows),
        "bars": bars.meaning,
    }


def _on_a_line(main: str, remark: str) -> tuple[str, str]:
    """Keep a cell's main words on one line."""
    return main.replace(" ", "\u00a0"), together(remark)
