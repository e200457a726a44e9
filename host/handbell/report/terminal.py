"""The report in the terminal: the same sentences and numbers as on the page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .cells import cell_words, fade_words, number_of
from .model import ClassReport, ExerciseTable
from .words import clock_of, date_of, percent_of, several

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table


def print_report(report: ClassReport, out: Console) -> None:
    """Print a whole report. Names are never taken for markup."""
    when = date_of(report.start_utc_us or report.collected_utc_us)
    out.print(f"{report.title}, class {report.class_id}", style="bold", markup=False)
    boxes = several(len(report.boxes), "box", "boxes")
    who = several(len(report.people), "person", "people")
    out.print(f"{when}, {clock_of(report.slot_ms)} long, {boxes}, {who}", markup=False)
    out.print()
    for sentence in report.headline:
        out.print(f"- {sentence}", markup=False)
    if report.absent:
        out.print(f"- Absent: {', '.join(report.absent)}", markup=False)
    if report.people:
        out.print()
        out.print(_people(report))
    for table in report.exercises:
        out.print()
        out.print(f"Block {table.block}: {table.name} ({table.asked})", style="bold", markup=False)
        out.print(_exercise(table))
    out.print()
    out.print("What is odd", style="bold")
    for sentence in report.odd or ("Nothing: every log is whole, box and recount agree.",):
        out.print(f"- {sentence}", markup=False)
    out.print()
    out.print(report.caution, style="dim", markup=False)


def _table() -> Table:
    from rich import box
    from rich.table import Table

    return Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1))


def _row(table: Table, *words: str) -> None:
    from rich.text import Text

    table.add_row(*(Text(word) for word in words))


def _people(report: ClassReport) -> Table:
    table = _table()
    table.add_column("bib", justify="right")
    for heading in ("name", "group"):
        table.add_column(heading)
    for heading in ("targets", "rest earned", "holds", "how hard"):
        table.add_column(heading, justify="right")
    table.add_column("faded most in")
    for p in report.people:
        faded = "" if p.fade_percent is None else f"{p.fade_in} {percent_of(p.fade_percent)}"
        _row(
            table,
            str(p.bib),
            p.name,
            p.group,
            f"{p.targets_made} of {p.targets}" if p.targets else "",
            clock_of(p.earned_rest_ms) if p.targets else "",
            f"{p.holds_kept} of {p.holds}" if p.holds else "",
            "no answer" if p.rating is None else str(p.rating),
            faded,
        )
    return table


def _exercise(exercise: ExerciseTable) -> Table:
    table = _table()
    rounds = sorted({c.round for row in exercise.rows for c in row.cells})
    table.add_column("name")
    for r in rounds:
        table.add_column(f"round {r}")
    for heading in ("mean", "best"):
        table.add_column(heading, justify="right")
    table.add_column("fade")
    for row in exercise.rows:
        cells = {}
        for cell in row.cells:
            main, remark = cell_words(exercise, cell)
            cells[cell.round] = f"{main}, {remark}" if remark else main
        _row(
            table,
            row.name,
            *(cells.get(r, "") for r in rounds),
            number_of(row, row.mean),
            number_of(row, row.best),
            fade_words(row),
        )
    return table
