"""A timetable as a table for spreadsheets: CSV (RFC 4180), safe to open in one."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from handbell.base.times import clock_hours

if TYPE_CHECKING:
    from handbell.compile import CompiledClass
    from handbell.compile.timetable import BoxRow, Row

HEADINGS = ("at", "at_s", "for_s", "kind", "block", "round", "window", "what")
_ACTIVE = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%")


def class_sheet(built: CompiledClass) -> bytes:
    """Return the class: a line for each stretch, a column for each station and who is there."""
    labels = [timeline.label for timeline in built.timelines]
    lines = []
    for row in built.timetable:
        cells = [""] * (2 * len(labels))
        for n, cell in enumerate(row.stations):
            cells[2 * n : 2 * n + 2] = [cell.words, _people(cell.who, cell.bibs)]
        lines.append((*_common(row), *cells))
    headings = [text for label in labels for text in (f"{label}: what", f"{label}: who")]
    return _csv((*HEADINGS, *headings), lines)


def box_sheet(rows: Iterable[BoxRow]) -> bytes:
    """Return what one box plays: a line for each span."""
    lines = [(*_common(row), _people(row.who, row.bibs), row.coming) for row in rows]
    return _csv((*HEADINGS, "who", "next"), lines)


def _common(row: Row | BoxRow) -> tuple[str | int | float, ...]:
    is_window = row.kind == "window"
    place = (row.block, row.round, row.window) if is_window else ("", "", "")
    at_s, for_s = row.class_ms / 1000, row.duration_ms / 1000
    return (clock_hours(row.class_ms), at_s, for_s, row.kind, *place, row.words)


def _people(who: str, bibs: Sequence[int]) -> str:
    return f"{who} {' '.join(map(str, bibs))}".strip()


def harmless(cell: str) -> str:
    """Return a text that no spreadsheet takes for a formula: an apostrophe before what may be."""
    return f"'{cell}" if cell.lstrip().startswith(_ACTIVE) or cell.startswith(_ACTIVE) else cell


def _cell(cell: str | int | float) -> str:
    if isinstance(cell, str):
        return harmless(cell)
    return str(int(cell) if cell == int(cell) else cell)


def _csv(headings: Sequence[str], lines: Iterable[Sequence[str | int | float]]) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    for line in (headings, *lines):
        writer.writerow([_cell(cell) for cell in line])
    return out.getvalue().encode("utf-8-sig")  # with the mark by which spreadsheets know UTF-8
