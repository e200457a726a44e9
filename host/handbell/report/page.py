"""The report as one page that needs nothing else: no network, no script, no other file."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from handbell.errors import HandbellError

from .cells import cell_words, fade_words, number_of
from .charts import Chart, chart_of
from .model import ClassReport, ExerciseTable
from .words import clock_of, date_of, percent_of

HERE = Path(__file__).parent


def write_page(report: ClassReport, path: Path) -> None:
    """Write the page; an old one stays whole until the new one is. Raises HandbellError."""
    text = page(report)
    fresh = path.with_name(path.name + ".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh.write_text(text, encoding="utf-8", newline="\n")
        fresh.replace(path)
    except OSError as error:
        raise HandbellError(
            f"The page {path} can't be written: {error.strerror}", "Give another place"
        ) from error


def page(report: ClassReport) -> str:
    """Return the page's HTML."""
    import jinja2
    from markupsafe import Markup

    loader = jinja2.FileSystemLoader(HERE)
    env = jinja2.Environment(loader=loader, autoescape=True, trim_blocks=True, lstrip_blocks=True)
    env.filters.update(clock=clock_of, percent=percent_of)
    names = [p.name for p in report.people] + list(report.absent)
    return env.get_template("page.html").render(
        report=report,
        style=Markup((HERE / "page.css").read_text(encoding="utf-8")),
        when=date_of(report.start_utc_us or report.collected_utc_us),
        exercises=[_exercise(table, f"c{n}") for n, table in enumerate(report.exercises, 1)],
        sentence=lambda words: _isolated(words, names),
        has_groups=any(p.group for p in report.people),
        has_targets=any(p.targets for p in report.people),
        has_holds=any(p.holds for p in report.people),
    )


def _exercise(table: ExerciseTable, key: str) -> dict[str, Any]:
    from markupsafe import Markup

    chart: Chart | None = chart_of(table, key)
    rows = []
    for row in table.rows:
        by_round = {
            cell.round: tuple(map(_together, cell_words(table, cell))) for cell in row.cells
        }
        rows.append(
            {
                "bib": row.bib,
                "name": row.name,
                "cells": [by_round.get(r, ("", "")) for r in _rounds(table)],
                "mean": _together(number_of(row, row.mean)),
                "best": _together(number_of(row, row.best)),
                "fade": _together(fade_words(row)),
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


def _together(words: str) -> str:
    """Keep a number and its unit on one line."""
    return re.sub(r"(\d) (s|%)", "\\1\u00a0\\2", words)


def _rounds(table: ExerciseTable) -> list[int]:
    return sorted({cell.round for row in table.rows for cell in row.cells})


def _isolated(sentence: str, names: Iterable[str]) -> Any:
    """Return a sentence as HTML in which a name written from right to left stays in its place."""
    from markupsafe import Markup, escape

    safe = escape(sentence)
    for name in set(names):
        if any(unicodedata.bidirectional(c) in ("R", "AL", "AN") for c in name):
            safe = safe.replace(escape(name), Markup("<bdi>{}</bdi>").format(name))
    return safe
