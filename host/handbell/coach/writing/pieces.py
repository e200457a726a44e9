"""A TOML text cut at its table headings, so that what isn't touched stays to the byte."""

from __future__ import annotations

import contextlib
import difflib
import re
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

import tomlkit

from handbell.base import toml

BOM = "\ufeff"

_LINE = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+")
_HEADING = re.compile(r"[ \t]*\[")
_BLANK = re.compile(r"[ \t]*(#.*)?\n?")


def lines_of(text: str) -> list[str]:
    """Return a text's lines with the ends they have."""
    return _LINE.findall(text)


def lf(line: str) -> str:
    """Return a line with LF as its end, if it has one."""
    return line.rstrip("\r\n") + "\n" if line.endswith(("\r", "\n")) else line


def end_of(line: str) -> str:
    """Return what ends a line, "" where nothing does."""
    return line[len(_bare(line)) :]


def indent_of(line: str) -> str:
    """Return the blanks before a line's text."""
    return line[: len(line) - len(line.lstrip(" \t"))]


def cut(lines: Sequence[str]) -> list[tuple[int, int]]:
    """Return the pieces of a TOML text, each from a heading to the next, as ranges of lines.

    A line that begins with a bracket is a heading unless it lies within a list or a text of many
    lines; what comes before it then doesn't parse.
    """
    pieces = []
    start = 0
    for n, line in enumerate(lines):
        if n > start and _HEADING.match(line) and _parses("".join(lines[start:n])):
            pieces.append((start, n))
            start = n
    return [*pieces, (start, len(lines))]


def _parses(text: str) -> bool:
    with contextlib.suppress(toml.TOMLDecodeError):
        toml.loads(text)
        return True
    return False


def last_key_line(lines: Sequence[str]) -> int:
    """Return how many lines there are up to the last one with a key on it."""
    end = len(lines)
    while end > 1 and _BLANK.fullmatch(lines[end - 1]) and _parses("".join(lines[: end - 1])):
        end -= 1
    return end


def with_own_tasks(
    lines: Sequence[str], tables: Sequence[dict[str, Any]], deeper: str, ends: str
) -> list[str]:
    """Return an exercise's last piece with own tasks behind its last key, indented like it.

    ``deeper`` is how much more than an exercise's heading theirs are, where there are none yet.
    """
    end = last_key_line([lf(line) for line in lines])
    head, *keys = (line for line in lines[:end] if line.strip() and line.strip()[0] != "#")
    heading = indent_of(head) + ("" if re.match(r"\s*\[\[.*scaled", head) else deeper)
    key_indent = heading + (indent_of(keys[0])[len(indent_of(head)) :] if keys else "")
    new = []
    for table in tables:
        new.append(f"{heading}[[block.exercise.scaled]]{ends}")
        new += [f"{key_indent}{key} = {value_text(value)}{ends}" for key, value in table.items()]
    last = lines[end - 1]
    return [*lines[: end - 1], last if end_of(last) else last + ends, *new, *lines[end:]]


def with_ends(old: Sequence[str], plain: Sequence[str], new: Sequence[str]) -> list[str]:
    """Return new lines with the line ends that the old ones had."""
    usual = next((end_of(line) for line in old if end_of(line)), "\n")
    lines: list[str] = []
    matcher = difflib.SequenceMatcher(None, plain, new, autojunk=False)
    for what, i, i_end, j, j_end in matcher.get_opcodes():
        if what == "equal":
            lines += old[i:i_end]
            continue
        for n, line in enumerate(new[j:j_end]):
            was = old[i + n] if i + n < i_end else ""
            end = end_of(was) or usual
            lines.append(_bare(line) + end if line.endswith("\n") else line)
    return lines


def _bare(line: str) -> str:
    return line.rstrip("\r\n")


def value_text(value: Any) -> str:
    """Return a value as TOML has it."""
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, list):
        return f"[{', '.join(map(value_text, value))}]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(k)} = {value_text(v)}" for k, v in value.items()) + " }"
    return str(tomlkit.item(value).as_string())


def _key(key: str) -> str:
    return tomlkit.key(key).as_string()
