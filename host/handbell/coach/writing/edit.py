"""Changing a plan's text in a few places, and nothing else in it, to the byte.

The text is cut at its table headings; only the pieces that hold a change go through the
style-preserving TOML library, so that nothing else can move.
"""

from __future__ import annotations

import copy
import json
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.container import Container
from tomlkit.items import Array, Comment, InlineTable, String, Trivia

from handbell.base import toml
from handbell.base.errors import HandbellError
from handbell.base.files import write_whole
from handbell.plan.agreement import Place
from handbell.plan.faults import place_words
from handbell.plan.files import load_plan, parse_plan

from .pieces import BOM, cut, last_key_line, lf, lines_of, value_text, with_ends

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
            lines += self._with_tables(new, added[n]) if n in added else new
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

    def _with_tables(self, lines: list[str], own: Sequence[OwnTask]) -> list[str]:
        """Return a piece with tables behind its last key, indented as those around them."""
        end = last_key_line([lf(line) for line in lines])
        ends = next((line[len(line.rstrip("\r\n")) :] for line in self._lines), "") or "\n"
        head, *keys = (line for line in lines[:end] if line.strip() and line.strip()[0] != "#")
        heading = _indent(head)
        if not re.match(r"\s*\[\[.*scaled", head):
            heading += self._deeper(own[0].place)
        deeper = _indent(keys[0])[len(_indent(head)) :] if keys else ""
        if not lines[end - 1].endswith(("\r", "\n")):
            lines = [*lines[: end - 1], lines[end - 1] + ends]
        new = []
        for task in own:
            new.append(f"{heading}[[block.exercise.scaled]]{ends}")
            new += [
                f"{heading}{deeper}{key} = {value_text(value)}{ends}"
                for key, value in task.values.items()
            ]
        return [*lines[:end], *new, *lines[end:]]

    def _deeper(self, place: Place) -> str:
        """Return by how much a block's exercises are indented more than the block."""
        block, exercise = (
            _indent(self._lines[self._pieces[self._spots[at].piece][0]])
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
                _change(at, change.values)
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


def _indent(line: str) -> str:
    return line[: len(line) - len(line.lstrip(" \t"))]


def _table(document: Table, place: Place) -> Table:
    at: Any = document
    for step in place:
        at = at[step]
    table: Table = at
    return table


def _change(table: Any, values: Table) -> None:
    for key, value in values.items():
        if value is None:
            _take_out(table, key)
        elif isinstance(value, list) and _fits(table.get(key), value):
            _change_list(table, key, value)
        elif isinstance(value, str):
            table[key] = _string(value, table.get(key))
        else:
            table[key] = value


def _change_list(table: Any, key: str, value: list[Any]) -> None:
    old = table[key]
    if len(old) == len(value):
        for n, entry in enumerate(value):
            old[n] = _string(entry, old[n]) if isinstance(entry, str) else entry
    elif "#" in old.as_string():
        raise ValueError("comments stand between the entries of a list that changes its length")
    else:
        table[key] = value


def _fits(old: Any, new: Sequence[Any]) -> bool:
    """Return whether an old list can take the entries of a new one, and so keep its layout."""
    return isinstance(old, Array) and len(old) == len(new)


def _string(value: str, old: Any) -> String:
    """Return a text between the quotes that the old one had."""
    literal = isinstance(old, String) and old.as_string().startswith("'")
    return tomlkit.string(value, literal=literal and "'" not in value)


def _take_out(table: Any, key: str) -> None:
    """Take a key out; a comment on its lines stays, on a line of its own."""
    if not isinstance(table, InlineTable):
        body = (table if isinstance(table, Container) else table.value).body
        at = next(n for n, (k, _) in enumerate(body) if k is not None and k.key == key)
        item = body[at][1]
        # Reps, goals and ways to tap hold no texts with a # in them.
        said = [*re.findall(r"#[^\n]*", item.as_string()), item.trivia.comment]
        indent = item.trivia.indent
        kept = f"\n{indent}".join(text.rstrip() for text in said if text)
        if kept:  # one item for one: the table knows its other keys by their places
            body[at] = (None, Comment(Trivia(indent, "", kept)))
            return
    table.remove(key)


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
    path = path.resolve()
    there = path.read_bytes() if path.exists() else None
    if there == data:
        return
    if there != was:
        what = "has changed meanwhile" if was is not None else "is there already"
        remedy = "Run the command again" if was is not None else "Name another file"
        raise HandbellError(f"{path} {what}", remedy)
    write_whole(path, data)
