"""The bar in each round's cell of a class's tables, under the words that say the same.

A whole bar is the round's own target, the window of a hold, or the most that anybody did.
"""

from __future__ import annotations

from dataclasses import dataclass

from handbell.base.words import several
from handbell.report import svg
from handbell.store.results.effort import COUNTED

from .model import Cell, ExerciseTable

WIDE, HIGH = 60.0, 8.0
EDGE = 0.7  # of an outline, half
_COUNTED = {outcome.value for outcome in COUNTED}
_WHOLE = {"hold": "held to the end", "target": "the target"}
_OUTLINED = {"hold": "let go before the end", "target": "not made", "open": "short of the goal"}


@dataclass(frozen=True)
class Bars:
    """An exercise's bars: SVG by round for each row of its table, and what they mean, in words.

    A cell that tells no count has no bar.
    """

    rows: tuple[dict[int, str], ...]
    meaning: str


def bars_of(table: ExerciseTable) -> Bars:
    """Draw the bars of an exercise's table."""
    most = max(max(cell.reps or 0, cell.goal) for row in table.rows for cell in row.cells)
    goals = table.ask == "open" and any(table.goals)
    rows: list[dict[int, str]] = []
    outlined = doubted = False
    for row in table.rows:
        rows.append({})
        for cell in row.cells:
            share = _share(table, cell, most)
            if share is not None:
                goal = cell.goal / most if goals else 0.0
                rows[-1][cell.round] = _bar(share, cell, goal)
                outlined |= cell.made is False
                doubted |= cell.doubtful
    return Bars(tuple(rows), _meaning(table, most, goals, outlined, doubted) if any(rows) else "")


def _share(table: ExerciseTable, cell: Cell, most: int) -> float | None:
    """Return how much of a whole bar a cell is, None without a bar."""
    if table.ask == "hold":
        return None if cell.held_ms is None else cell.held_ms / cell.window_ms
    if table.ask == "target" and cell.made:
        return 1.0
    # Of a target that one tap ends, nobody knows how much was done without the tap.
    if cell.reps is None or cell.outcome not in _COUNTED or table.tap == "finish":
        return None
    whole = cell.goal if table.ask == "target" else most
    return cell.reps / whole if whole else None


def _bar(share: float, cell: Cell, goal: float) -> str:
    long = WIDE * min(share, 1.0)
    doubt = " doubted" if cell.doubtful else ""
    marks = [svg.bar("whole", (0, 0), WIDE, HIGH)]
    if cell.made is False:
        inside = max(long - 2 * EDGE, 0), HIGH - 2 * EDGE
        marks.append(svg.bar(f"missed{doubt}", (EDGE, EDGE), *inside))
    else:
        marks.append(svg.bar(f"bar{doubt}", (0, 0), long, HIGH))
    if goal:
        marks.append(svg.line("goal", (WIDE * goal, 0), (WIDE * goal, HIGH)))
    return svg.ornament("strip", (WIDE, HIGH), marks)


def _meaning(table: ExerciseTable, most: int, goals: bool, outlined: bool, doubted: bool) -> str:
    ask, unit = table.ask, "leg" if table.tap == "leg" else "rep"
    said = [f"A whole bar: {_WHOLE.get(ask) or several(most, unit)}."]
    if goals:
        said.append("Line across: the goal.")
    if outlined:
        said.append(f"Outlined: {_OUTLINED[ask]}.")
    if doubted:
        said.append("Pale: in doubt.")
    return " ".join(said)
