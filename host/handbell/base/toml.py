"""The reader for TOML 1.0: the standard library's, or its twin before Python 3.11."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from typing import Any

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

__all__ = ["KeyTooLongError", "TOMLDecodeError", "loads"]

TOMLDecodeError = tomllib.TOMLDecodeError


class KeyTooLongError(TOMLDecodeError):
    """A key of more parts than may be read."""


KEY_PARTS_MOST = 64  # between dots; the reader takes the square of it in time, and we need four
_PIECE = re.compile(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'|[A-Za-z0-9_-]+|[ \t]+|.')


def loads(text: str, *, parse_float: Callable[[str], Any] = float) -> dict[str, Any]:
    """Return a TOML document; raises TOMLDecodeError, ValueError and RecursionError."""
    for number, line in enumerate(text.split("\n"), 1):
        if line.count(".") >= KEY_PARTS_MOST and _key_parts(line) > KEY_PARTS_MOST:
            raise KeyTooLongError(
                f"a key has more than {KEY_PARTS_MOST} parts (at line {number}, column 1)"
            )
    return tomllib.loads(text, parse_float=parse_float)


def _key_parts(line: str) -> int:
    """Return of how many parts, joined by dots, the longest key of a line is."""
    most = parts = 0
    joined = False  # whether a dot came last
    for piece in _PIECE.findall(line):
        if piece == "#":
            break
        if piece == ".":
            joined = parts > 0
        elif piece[0] in "\"'" or piece[0].isalnum() or piece[0] in "_-":
            parts = parts + 1 if joined else 1
            joined = False
            most = max(most, parts)
        elif not piece.isspace():
            parts, joined = 0, False
    return most
