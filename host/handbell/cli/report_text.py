"""The report in the terminal: the same sentences and numbers as on the page."""

from __future__ import annotations

from collections.abc import Sequence

from handbell.base.times import class_date, whole_clock
from handbell.base.words import block_words, several
from handbell.cli.output import Out
from handbell.report.advised import Advised, change_lines
from handbell.report.one_class.cells import cell_words, fade_words, length_words, number_of, unit_of
from handbell.report.one_class.model import ClassReport, ExerciseTable
from handbell.report.one_class.skew import rang_words
from handbell.report.one_list import LIST_CAUTION, Listed
from handbell.report.words import faded_by


def print_report(report: ClassReport, out: Out) -> None:
    """Print a whole report."""
    when = class_date(report.start_utc_us, report.collected_utc_us)
    out.line(f"{report.title}, class {report.class_id}", style="bold")
    if report.hall:
        out.line(report.hall)
    boxes = several(report.box_count, "box", "boxes")
    who = several(report.attendance.came, "person", "people")
    out.line(f"{when}, {length_words(report)}, {boxes}, {who}")
    out.line()
    print_list(report.listed, out)
    for sentence in report.headline:
        out.line(f"- {sentence}")
    if report.attendance.sentence:
        out.line(f"- {report.attendance.sentence}")
    if report.absent:
        out.line(f"- Absent: {', '.join(report.absent)}")
    if report.steps.remote:
        out.line()
        out.line("What the remote did", style="bold")
    for line in report.steps.remote:
        out.line(f"- {line.sentence}")
    _advised(report.advised, out)
    if report.people:
        out.line()
        _people(report, out)
    for table in report.exercises:
        out.line()
        of = block_words(table.block, table.block_name)
        out.line(f"{of}: {table.name} ({table.asked})", style="bold")
        _exercise(table, out)
    out.line()
    _skew(report, out)
    out.line("What is odd", style="bold")
    for sentence in report.odd or ("Nothing: every log is whole, box and recount agree.",):
        out.line(f"- {sentence}")
    if report.corrected:
        out.line()
        out.line("What you corrected", style="bold")
    for sentence in report.corrected:
        out.line(f"- {sentence}")
    out.line()
    out.line(report.caution, style="dim")


def print_list(listed: Sequence[Listed], out: Out) -> None:
    """Print who to talk to, a line each."""
    if listed:
        out.line("Who to talk to", style="bold")
        for one in listed:
            out.line(f"- {one.name} {one.words} {one.ask}")
        out.line(LIST_CAUTION, style="dim")
        out.line()


def _advised(advised: Advised, out: Out) -> None:
    """Print what to change."""
    out.line()
    out.line("What to change", style="bold")
    if advised.note:
        out.line(f"- {advised.note}")
    for change in advised.changes:
        for line in change_lines(change):
            why = f" ({line.why})" if line.why else ""
            out.line(f"- {change.exercise}, {line.who}: {line.words}{why}")


def _skew(report: ClassReport, out: Out) -> None:
    """Print how far apart the boxes rang, and box by box if people may have noticed."""
    if not report.skew.sentences:
        return
    out.line("How far apart the boxes rang", style="bold")
    for sentence in report.skew.sentences:
        out.line(f"- {sentence}")
    if report.skew.heard or not report.skew.in_step:
        rows = []
        for line in report.skew.lines:
            cells = (" ".join(words).strip() or "not known" for words in rang_words(line))
            rows.append((line.label, line.box_id, *cells))
        out.table(("station", "box", "at the start", "at the end"), rows)
    out.line()


def _people(report: ClassReport, out: Out) -> None:
    rows = [
        (
            p.bib,
            f"{p.name}, data in doubt" if p.doubtful_in else p.name,
            p.group,
            f"{p.targets_made} of {p.targets}" if p.targets else "",
            whole_clock(p.earned_rest_ms) if p.targets else "",
            f"{p.holds_kept} of {p.holds}" if p.holds else "",
            *(("no answer" if p.rating is None else p.rating,) if report.rated else ()),
            "never pressed"
            if p.never_pressed
            else f"{p.fade_in} {faded_by(p.fade_percent, p.fade_at_least)}".strip(),
        )
        for p in report.people
    ]
    headings = ("bib", "name", "group", "targets", "rest earned", "holds")
    asked = ("how hard",) if report.rated else ()
    out.table(
        (*headings, *asked, "faded most in"), rows, right=(0, 3, 4, 5, 6)[: 5 if asked else 4]
    )


def _exercise(exercise: ExerciseTable, out: Out) -> None:
    rounds = sorted({c.round for row in exercise.rows for c in row.cells})
    rows = []
    for row in exercise.rows:
        cells = {}
        for cell in row.cells:
            main, remark = cell_words(exercise, cell)
            cells[cell.round] = f"{main}, {remark}" if remark else main
        numbers = (number_of(row.mean), number_of(row.best), fade_words(row))
        rows.append((row.name, *(cells.get(r, "") for r in rounds), *numbers))
    unit = f", {unit_of(exercise)}" if unit_of(exercise) else ""
    headings = ("name", *(f"round {r}" for r in rounds), f"mean{unit}", f"best{unit}", "fade")
    out.table(headings, rows, right=(len(rounds) + 1, len(rounds) + 2))
