"""Who is where, and does what: what stays said once, what changes said for each window."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from handbell.compile.build import CompiledClass
from handbell.compile.timetable import Cell, Row, described
from handbell.plan.own_tasks import own_list


@dataclass(frozen=True)
class Tasks:
    """What each station does in a block, in its first round."""

    block: int
    name: str
    stations: tuple[str, ...]


@dataclass(frozen=True)
class Where:
    """A window, and for each station what is not as it was said once: "" where nothing is."""

    class_ms: int
    stations: tuple[str, ...]


@dataclass(frozen=True)
class Whereabouts:
    """The people of a class at its stations.

    ``people`` are those who stay at each station, empty where they move on; ``tasks`` what stays
    at each station, empty where people go through the exercises side by side. ``windows`` is empty
    where nothing else is to be said.
    """

    people: tuple[str, ...]
    tasks: tuple[Tasks, ...]
    windows: tuple[Where, ...]


def whereabouts(built: CompiledClass) -> Whereabouts:
    """Return who is where in a class."""
    rows = [row for row in built.timetable if row.stations]
    tasks = tuple(_tasks(built)) if built.plan.is_rotation else ()
    people = _people(built, rows)
    windows = tuple(_windows(built, rows, people, tasks))
    changes = any(any(where.stations) for where in windows)
    return Whereabouts(people, tasks, windows if changes else ())


def _tasks(built: CompiledClass) -> Iterator[Tasks]:
    """Yield what the plan writes for each station: an own task stands with its people."""
    for number, block in enumerate(built.plan.blocks, start=1):
        tasks = tuple(described(exercise, 1) for exercise in block.exercises)
        nothing = ("",) * (len(built.timelines) - len(tasks))
        yield Tasks(number, block.name or "", tasks + nothing)


def _people(built: CompiledClass, rows: list[Row]) -> tuple[str, ...]:
    """Return who stays at each station, where groups do."""
    plan = built.plan
    if plan.is_rotation or not plan.groups:
        return ()
    return tuple(_named(cell.who, cell.people) for cell in rows[0].stations) if rows else ()


def _windows(
    built: CompiledClass, rows: list[Row], people: tuple[str, ...], tasks: tuple[Tasks, ...]
) -> Iterator[Where]:
    grouped = bool(built.plan.groups)
    for row in rows:
        stays = tasks[row.block - 1].stations if tasks else ()
        differs = bool(stays or built.schedule.mixed[row.block - 1])
        cells = []
        for cell in row.stations:
            as_said = stays and cell.what == stays[cell.station - 1]
            what = cell.what if differs and not as_said else ""
            who = _who(cell, bool(people)) if grouped else ""
            own = f"({own_list(cell.own)})" if differs and cell.own else ""
            here = " ".join(filter(None, (", ".join(filter(None, (what, who))), own)))
            cells.append("-" if grouped and not cell.people else here)
        yield Where(row.class_ms, tuple(cells))


def _who(cell: Cell, stay: bool) -> str:
    """Return who is there: those at the buttons where not all of them have one."""
    if not cell.bibs or set(cell.bibs) == set(cell.people):
        return "" if stay else cell.who
    bibs = " ".join(map(str, cell.bibs))
    return bibs if stay else f"{cell.who} {bibs}"


def _named(who: str, bibs: tuple[int, ...]) -> str:
    return f"{who} {' '.join(map(str, bibs))}".strip()
