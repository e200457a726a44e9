"""Changing a plan's text in a few places, and nothing else in it, to the byte.

The text is cut at its table headings; only the pieces that hold a change go through the
style-preserving TOML library, so that nothing else can move.
"""

from __future__ import annotations

import copy
import json
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit

from handbell.base import toml
from handbell.base.errors import HandbellError
from handbell.base.files import require_name, write_whole
from handbell.plan.agreement import Place
from handbell.plan.faults import place_words
from handbell.plan.files import load_plan, parse_plan

from .keys import change_keys
from .pieces import (
    BOM,
    cut,
    end_of,
    indent_of,
    last_key_line,
    lf,
    lines_of,
    with_ends,
    with_own_tasks,
)

Table = dict[str, Any]

_BELOW = {
    "": ("block", "warm_up", "practice", "cool_down"),
    "block": ("exercise",),
    "exercise": ("part", "scaled"),
}


@dataclass(frozen=True)
class Change:
    """New values for keys of one table of the plan; None takes a key out.

    ``place`` is the way to it, counted from 0: ``("block", 1, "exercise", 0)``, ``("block", 1)``,
    ``("warm_up", 0)``, or ``()`` for what stands before any table.
    """

    place: Place
    values: Table


@dataclass(frozen=True)
class OwnTask:
    """A table to add below an exercise: what some bibs do instead. ``place`` is the exercise's."""

    place: Place
    values: Table


@dataclass(frozen=True)
class Written:
    """Something to do as the file has it: an exercise, or a part of one that is a list.

    ``place`` is the way to it, see ``Change``.
    """

    place: Place
    values: Table

    @property
    def block(self) -> int:
        """Its block, from 0."""
        return int(self.place[1])

    @property
    def at(self) -> tuple[int, ...]:
        """Its block, its place there, and its place in a list, from 0."""
        return tuple(int(n) for n in self.place[1::2])

    @property
    def in_list(self) -> bool:
        """Whether it is a part."""
        return "part" in self.place


@dataclass(frozen=True)
class _Spot:
    """Where an exercise's keys stand: a piece of the file, and the path in it."""

    piece: int
    path: tuple[str | int, ...]


class PlanText:
    """A plan and its text; ``name`` is what errors call it. Raises PlanError as reading does."""

    def __init__(self, data: bytes, name: str) -> None:
        self.name = name
        self.plan = parse_plan(data, name)
        text = data.decode("utf-8")
        self._bom = BOM if text.startswith(BOM) else ""
        self._lines = lines_of(text.removeprefix(BOM))
        self._ends = next((end for end in map(end_of, self._lines) if end), "\n")
        self._document: Table = toml.loads("".join(map(lf, self._lines)))
        self._pieces = cut([lf(line) for line in self._lines])
        self._spots = self._find()

    @property
    def exercises(self) -> list[Written]:
        """What there is to do, in the order of the file: of a list its parts, not itself."""
        places = (p for p in self._spots if p[-2:-1] in (("exercise",), ("part",)))
        found = [Written(place, _table(self._document, place)) for place in places]
        return [written for written in found if "part" not in written.values]

    def at(self, place: Place) -> Table:
        """Return a table as the file has it."""
        return _table(self._document, place)

    @property
    def kit(self) -> list[str]:
        """The sorts of kit that the plan counts."""
        return list(self._document.get("kit", ()))

    def changed(self, changes: Iterable[Change], own: Iterable[OwnTask] = ()) -> bytes:
        """Return the plan's bytes with the changes made, own tasks added behind those there are.

        Raises HandbellError if that can't be.
        """
        expected = copy.deepcopy(self._document)
        by_piece: dict[int, list[Change]] = {}
        added: dict[int, list[OwnTask]] = {}
        all_changes = list(changes)
        for task in own:
            there = _table(self._document, task.place).get("scaled", [])
            if self._is_apart(task.place, len(there)):
                added.setdefault(self._last_piece(task.place), []).append(task)
                _table(expected, task.place).setdefault("scaled", []).append(task.values)
            else:
                all_changes = _with_own(all_changes, task, there)
        for change in all_changes:
            table = _table(expected, change.place)
            for key, value in change.values.items():
                table.pop(key, None)
                if value is not None:
                    table[key] = value
            spot = self._spots[change.place]
            by_piece.setdefault(spot.piece, []).append(change)
        lines: list[str] = []
        for n, (start, end) in enumerate(self._pieces):
            old = self._lines[start:end]
            new = self._rewritten(old, by_piece[n]) if n in by_piece else old
            if n in added:
                tables = [task.values for task in added[n]]
                new = with_own_tasks(new, tables, self._deeper(added[n][0].place), self._ends)
            lines += new
        text = "".join(lines)
        if toml.loads("".join(map(lf, lines_of(text)))) != expected:
            first = [Change(task.place, task.values) for tasks in added.values() for task in tasks]
            raise self._refused([*all_changes, *first][0])
        return (self._bom + text).encode("utf-8")

    def _find(self) -> dict[Place, _Spot]:
        """Return where each table stands; one that goes on in a later piece, its keys first."""
        spots: dict[Place, _Spot] = {(): _Spot(0, ())}
        count: Counter[Place] = Counter()

        def walk(piece: int, table: Table, place: Place, path: tuple[str | int, ...]) -> None:
            for key in _BELOW.get(str(place[-2]) if place else "", ()):
                below, each = table.get(key), (*place, key)
                if isinstance(below, list):
                    for at, one in enumerate(below):
                        here = (*each, count[each])
                        count[each] += 1
                        spots[here] = _Spot(piece, (*path, key, at))
                        walk(piece, one, here, spots[here].path)
                elif isinstance(below, dict) and count[each]:
                    walk(piece, below, (*each, count[each] - 1), (*path, key))

        for n, (start, end) in enumerate(self._pieces):
            walk(n, toml.loads("".join(map(lf, self._lines[start:end]))), (), ())
        return spots

    def _is_apart(self, place: Place, count: int) -> bool:
        """Return whether an exercise, and its own tasks if any, have headings of their own."""
        places: list[Place] = [place, *((*place, "scaled", n) for n in range(count))]
        paths = (self._spots[at].path for at in places)
        return not any(isinstance(step, int) for path in paths for step in path[:-1])

    def _last_piece(self, place: Place) -> int:
        """Return the piece in which an exercise ends."""
        return max(spot.piece for at, spot in self._spots.items() if at[: len(place)] == place)

    def _deeper(self, place: Place) -> str:
        """Return by how much a block's exercises are indented more than the block."""
        block, exercise = (
            indent_of(self._lines[self._pieces[self._spots[at].piece][0]])
            for at in (place[:2], place)
        )
        return exercise[len(block) :]

    def _rewritten(self, old: Sequence[str], changes: Sequence[Change]) -> list[str]:
        """Return a piece's lines with its changes made; lines that stay keep their line ends."""
        plain = [lf(line) for line in old]
        end = last_key_line(plain)
        head, tail = "".join(plain[:end]), plain[end:]
        ended = head.endswith("\n")
        try:
            document = tomlkit.parse(head if ended else head + "\n")
            for change in changes:
                at: Any = document
                for step in self._spots[change.place].path:
                    at = at[step]
                change_keys(at, change.values)
            head = tomlkit.dumps(document)
        except Exception:
            # Whatever the TOML library stumbles over: the plan is untouched, and the coach is told.
            raise self._refused(changes[0]) from None
        new = lines_of(head if ended else head.removesuffix("\n"))
        return with_ends(old, plain, new + tail)

    def _refused(self, change: Change) -> HandbellError:
        place = place_words(change.place) or "the plan"
        said = ", ".join(
            f"take out {key}" if value is None else f"{key} = {json.dumps(value)}"
            for key, value in change.values.items()
        )
        return HandbellError(
            f"{self.name}: {place} is written in a way that can't be changed without disturbing "
            "the rest",
            f"Change it by hand: {said}",
        )


def _with_own(changes: list[Change], task: OwnTask, there: Sequence[Table]) -> list[Change]:
    """Return changes with an own task added to the list in which an exercise has them."""
    mine = [c for c in changes if c.place == task.place and "scaled" in c.values]
    within = (*task.place, "scaled")
    said: list[Table] = list(mine[0].values["scaled"] if mine else copy.deepcopy(list(there)))
    for change in changes:
        if change.place[: len(within)] == within:
            table = said[int(change.place[len(within)])]
            table |= change.values
            for key in [key for key, value in table.items() if value is None]:
                del table[key]
    kept = [c for c in changes if c not in mine and c.place[: len(within)] != within]
    return [*kept, Change(task.place, {"scaled": [*said, task.values]})]


def _table(document: Table, place: Place) -> Table:
    at: Any = document
    for step in place:
        at = at[step]
    table: Table = at
    return table


def read_plan(path: Path) -> bytes:
    """Return the bytes of a plan's file; raises PlanError when it can't be read or is no plan."""
    load_plan(path)
    return path.read_bytes()


def write_plan(path: Path, data: bytes, was: bytes | None) -> None:
    """Write a plan whole or not at all, keeping the file's rights.

    ``was`` is what the file held when it was read, or None for a new file; raises HandbellError
    when it holds something else by now.
    """
    if path.is_dir():
        raise HandbellError(f"{path} is a folder", "Name a file in it")
    require_name(path)
    path = path.resolve()
    there = path.read_bytes() if path.exists() else None
    if there == data:
        return
    if there != was:
        what = "has changed meanwhile" if was is not None else "is there already"
        remedy = "Run the command again" if was is not None else "Name another file"
        raise HandbellError(f"{path} {what}", remedy)
    write_whole(path, data)
