"""A plan's text with its short blocks written out; everything else in it stays to the byte."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any

from handbell.base import toml
from handbell.base.errors import HandbellError
from handbell.plan.files import parse_plan
from handbell.plan.model import Plan
from handbell.plan.shorthands import spelt_out

from .pieces import BOM, cut, last_key_line, lf, lines_of, value_text

Table = dict[str, Any]

_FIRST = ("name", "rounds", "work_s", "rest_s", "reps")
_TABLES = ("exercise", "part", "scaled")


def written_out(data: bytes, name: str) -> bytes:
    """Return a plan's bytes with each short block as the block it stands for.

    Comments within such a block come to stand above it. ``name`` is what errors call the plan.
    Raises PlanError as reading does, and HandbellError for a block that is in no table of its own.
    """
    plan = parse_plan(data, name)
    text = data.decode("utf-8-sig")
    lines = lines_of(text)
    ends = next((line[len(line.rstrip("\r\n")) :] for line in lines), "") or "\n"
    raw: list[Table] = toml.loads("".join(map(lf, lines)), parse_float=Decimal)["block"]
    out: list[list[str]] = []
    where: dict[int, int] = {}  # short blocks -> where they come to stand
    for block, piece in _pieces(lines):
        if block is None or "format" not in raw[block]:
            out.append(piece)
            continue
        end = last_key_line([lf(line) for line in piece])
        if block not in where:
            where[block] = len(out)
            out += [[], [line + ends for line in _block(raw[block])]]
        out[where[block]] += [comment + ends for comment in _comments(piece[:end])]
        out.append(piece[end:])
    result = (
        BOM * data.startswith(BOM.encode()) + "".join(line for piece in out for line in piece)
    ).encode()
    if not _same(plan, parse_plan(result, name)):
        raise HandbellError(
            f"{name}: its short blocks are written in a way that can't be taken apart",
            "Give each a [[block]] heading of its own",
        )
    return result


def _pieces(lines: Sequence[str]) -> Iterator[tuple[int | None, list[str]]]:
    """Yield the pieces of a plan, each with the number of the block it is of, from 0."""
    block = -1
    for start, end in cut([lf(line) for line in lines]):
        said = toml.loads("".join(lf(line) for line in lines[start:end]))
        tables = said.get("block")
        block += len(tables) if isinstance(tables, list) else 0
        yield (block if set(said) == {"block"} else None), list(lines[start:end])


def _comments(lines: Sequence[str]) -> Iterator[str]:
    for line in lines:
        for at, sign in enumerate(line):
            if sign == "#":
                with contextlib.suppress(toml.TOMLDecodeError):
                    toml.loads(line[:at])
                    yield line[at:].rstrip()
                    break


def _block(raw: Table) -> Iterator[str]:
    full = {key: value for key, value in spelt_out(raw)[0].items() if key != "format"}
    yield f'# format = "{raw["format"]}", written out'
    yield from _table(full, ("block",), "")


def _table(table: Table, path: tuple[str, ...], indent: str) -> Iterator[str]:
    yield f"{indent}[[{'.'.join(path)}]]"
    first = [key for key in _FIRST if key in table]
    for key in [*first, *(key for key in table if key not in (*_FIRST, *_TABLES))]:
        yield f"{indent}{key} = {value_text(table[key])}"
    for key in _TABLES:
        for below in table.get(key, ()):
            yield from _table(below, (*path, key), indent + "  ")


def _same(short: Plan, full: Plan) -> bool:
    """Return whether two plans say the same, but for the form they say it in."""
    blocks = tuple(block.model_copy(update={"format": None}) for block in short.blocks)
    return blocks == full.blocks and all(
        getattr(short, field) == getattr(full, field)
        for field in Plan.model_fields
        if field != "blocks"
    )
