"""What one window's cell says, in few words, for the terminal and the page alike."""

from __future__ import annotations

from handbell.base.times import seconds_of, whole_clock
from handbell.report.words import faded_by

from .model import NO_PRESS, Cell, ClassReport, ExerciseTable, Row

_NOTHING = {
    "not asked": "–",
    "no count": "no count",
    "set aside": "set aside",
    "skipped": "skipped",
    "left out": "left out",
    "no record": "no record",
    NO_PRESS: "–",
}
_BROKEN = ("stopped", "cut short", "paused")
_OR_MORE = {"cut": "log cut", "partly": "no power", "late": "missed the remote"}


def length_words(report: ClassReport) -> str:
    """Return how long a class was: as planned, or as a remote led it."""
    planned = whole_clock(report.slot_ms)
    lasted_ms = report.steps.lasted_ms
    if lasted_ms is None:
        return f"{planned} long"
    return f"{whole_clock(lasted_ms)} long ({planned} planned)"


def cell_words(table: ExerciseTable, cell: Cell) -> tuple[str, str]:
    """Return the cell's main words and a smaller remark, which may be empty."""
    main, remark = _words(table, cell)
    remarks = [remark]
    if cell.outcome == "done" and not cell.confirmed:
        remarks.append("not confirmed")
    if cell.outcome == "done" and not cell.agreed:
        remarks.append("box and recount differ")
    if cell.doubtful:
        remarks.append("in doubt")
    return main, ", ".join(filter(None, [*remarks, cell.amended]))


def _words(table: ExerciseTable, cell: Cell) -> tuple[str, str]:
    if cell.outcome in _NOTHING:
        return _NOTHING[cell.outcome], ""
    if cell.outcome in _BROKEN:
        return (cell.outcome, "") if table.ask == "hold" else (_count(cell), cell.outcome)
    if cell.outcome in _OR_MORE:
        why = _OR_MORE[cell.outcome]
        return (why, "") if table.ask == "hold" else (_count(cell), f"or more: {why}")
    return _done(table, cell)


def _count(cell: Cell) -> str:
    return "–" if cell.reps is None else str(cell.reps)


def _done(table: ExerciseTable, cell: Cell) -> tuple[str, str]:
    if cell.held_ms is not None:
        return seconds_of(cell.held_ms), "to the end" if cell.made else "let go"
    if table.ask == "target":
        said = cell.amended.endswith(("rep", "reps"))  # the count is the coach's, the time is not
        if cell.finish_ms is not None and cell.earned_rest_ms is not None and not said:
            main = f"made {seconds_of(cell.finish_ms)}"
            return main, f"{seconds_of(cell.earned_rest_ms)} rest"
        if cell.made:
            return str(cell.reps), "made"
        if table.tap == "finish":
            done = f"{cell.reps} of {cell.goal}" if cell.reps else ""  # as the coach counted
            return (done, "not finished") if done else ("not finished", "")
        return f"{cell.reps} of {cell.goal}", "not made"
    if cell.goal and cell.made:
        when = "" if cell.finish_ms is None else f" at {seconds_of(cell.finish_ms)}"
        return _count(cell), f"goal {cell.goal}{when}"
    return _count(cell), ""


def unit_of(table: ExerciseTable) -> str:
    """Return the unit of all means and bests of a table, "" where it has none."""
    return next((row.form for row in table.rows if row.form), "")


def number_of(value: float | None) -> str:
    """Return a mean or best, "" for none."""
    if value is None:
        return ""
    return f"{value:.0f}" if value == int(value) else f"{value:.1f}"


def fade_words(row: Row) -> str:
    """Return a row's fade, or why there is none."""
    if row.fade_percent is None:
        return row.fade_missing
    return faded_by(row.fade_percent, row.fade_at_least)
