"""The report in the terminal: the same sentences and numbers as on the page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handbell.base.times import class_date, whole_clock
from handbell.base.words import several

from .cells import cell_words, fade_words, number_of
from .model import ClassReport, ExerciseTable
from .skew import rang_words
from .talk import Talk, change_lines
from .words import percent_of

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table


def print_report(report: ClassReport, out: Console) -> None:
    """Print a whole report. Names are never taken for markup."""
    when = class_date(report.start_utc_us, report.collected_utc_us)
    out.print(f"{report.title}, class {report.class_id}", style="bold", markup=False)
    boxes = several(report.box_count, "box", "boxes")
    who = several(len(report.people), "person", "people")
    out.print(f"{when}, {whole_clock(report.slot_ms)} long, {boxes}, {who}", markup=False)
    out.print()
    for sentence in report.headline:
        out.print(f"- {sentence}", markup=False)
    if report.absent:
        out.print(f"- Absent: {', '.join(report.absent)}", markup=False)
    print_talk(report.talk, out)
    if report.people:
        out.print()
        out.print(_people(report))
    for table in report.exercises:
        out.print()
        out.print(f"Block {table.block}: {table.name} ({table.asked})", style="bold", markup=False)
        out.print(_exercise(table))
    out.print()
    _skew(report, out)
    out.print("What is odd", style="bold")
    for sentence in report.odd or ("Nothing: every log is whole, box and recount agree.",):
        out.print(f"- {sentence}", markup=False)
    if report.corrected:
        out.print()
        out.print("What you corrected", style="bold")
    for sentence in report.corrected:
        out.print(f"- {sentence}", markup=False)
    out.print()
    out.print(report.caution, style="dim", markup=False)


def print_talk(talk: Talk, out: Console) -> None:
    """Print who to talk to and what to change."""
    if talk.people:
        out.print()
        out.print("Who to talk to", style="bold")
    for person in talk.people:
        for why in (*person.asks, *person.odd):
            out.print(f"- {person.name}: {why}", markup=False)
    out.print()
    out.print("What to change", style="bold")
    if talk.note:
        out.print(f"- {talk.note}", markup=False)
    for change in talk.changes:
        for line in change_lines(change):
            why = f" ({line.why})" if line.why else ""
            out.print(f"- {change.exercise}, {line.who}: {line.words}{why}", markup=False)


def _skew(report: ClassReport, out: Console) -> None:
    """Print how far apart the boxes rang, and box by box if people may have noticed."""
    if not report.skew.sentences:
        return
    out.print("How far apart the boxes rang", style="bold")
    for sentence in report.skew.sentences:
        out.print(f"- {sentence}", markup=False)
    if report.skew.heard or not report.skew.in_step:
        table = new_table("station", "box", "at the start", "at the end")
        for line in report.skew.lines:
            cells = (" ".join(words).strip() or "not known" for words in rang_words(line))
            add_row(table, line.label, line.box_id, *cells)
        out.print(table)
    out.print()


def new_table(*headings: str) -> Table:
    """Return a table with its first columns."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1))
    for heading in headings:
        table.add_column(heading)
    return table


def add_row(table: Table, *words: str) -> None:
    """Add a row of cells that are never taken for markup."""
    from rich.text import Text

    table.add_row(*(Text(word) for word in words))


def _people(report: ClassReport) -> Table:
    table = new_table()
    table.add_column("bib", justify="right")
    for heading in ("name", "group"):
        table.add_column(heading)
    for heading in ("targets", "rest earned", "holds", "how hard"):
        table.add_column(heading, justify="right")
    table.add_column("faded most in")
    for p in report.people:
        faded = "" if p.fade_percent is None else f"{p.fade_in} {percent_of(p.fade_percent)}"
        add_row(
            table,
            str(p.bib),
            p.name,
            p.group,
            f"{p.targets_made} of {p.targets}" if p.targets else "",
            whole_clock(p.earned_rest_ms) if p.targets else "",
            f"{p.holds_kept} of {p.holds}" if p.holds else "",
            "no answer" if p.rating is None else str(p.rating),
            faded,
        )
    return table


def _exercise(exercise: ExerciseTable) -> Table:
    table = new_table("name")
    rounds = sorted({c.round for row in exercise.rows for c in row.cells})
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
        add_row(
            table,
            row.name,
            *(cells.get(r, "") for r in rounds),
            number_of(row, row.mean),
            number_of(row, row.best),
            fade_words(row),
        )
    return table
