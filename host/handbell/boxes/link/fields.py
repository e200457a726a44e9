"""What one field of a reply may be: a type and a range, or it is refused.

Ids and digests are hex of one length, names of files have one form, and texts are made printable.
"""

from __future__ import annotations

import binascii
import re
from collections.abc import Callable
from typing import Any, TypeAlias

from handbell_core import frames
from handbell_core.timeline import DIGEST_SIZE

ID_SIZE = 8  # bytes of a box's id
SIZE_MOST = 16 << 20  # bytes of a file: no board's flash holds more
FILES_MOST = 4_096  # files of a kind on a box
TIME_MOST = 1 << 53  # us or ms

Check: TypeAlias = Callable[[Any], Any]
"""Returns the value to go on with; raises ValueError when it can't be right."""


def whole(least: int, most: int) -> Callable[[Any], int]:
    """Return a check for an integer from ``least`` to ``most``."""

    def check(value: Any) -> int:
        if type(value) is not int or not least <= value <= most:
            raise ValueError
        return int(value)

    return check


def yes_no(value: Any) -> bool:
    """Check for true or false, which a box may write as 1 or 0."""
    if type(value) is not bool and not (type(value) is int and value in (0, 1)):
        raise ValueError
    return bool(value)


def form(pattern: str) -> Callable[[Any], str]:
    """Return a check for a text that has a form from end to end."""
    compiled = re.compile(pattern)

    def check(value: Any) -> str:
        if not isinstance(value, str) or not compiled.fullmatch(value):
            raise ValueError
        return value

    return check


def shown(most: int) -> Callable[[Any], str]:
    """Return a check for a text that people see: cut, and every odd sign in it a question mark."""

    def check(value: Any) -> str:
        if not isinstance(value, str):
            raise ValueError
        return "".join(c if c.isprintable() else "?" for c in value[:most])

    return check


def hex_of(size: int) -> Callable[[Any], str]:
    """Return a check for so many bytes in hex."""
    return form(f"[0-9a-f]{{{2 * size}}}")


def each(check: Check, most: int) -> Callable[[Any], tuple[Any, ...]]:
    """Return a check for a list of so many values at most."""

    def check_all(value: Any) -> tuple[Any, ...]:
        if not isinstance(value, list) or len(value) > most:
            raise ValueError
        return tuple(check(one) for one in value)

    return check_all


def chunk(value: Any) -> bytes:
    """Return the bytes of a file that a reply brings in base64: as many as a frame carries."""
    data = binascii.a2b_base64(_BASE64(value))
    if len(data) > frames.CHUNK:
        raise ValueError
    return data


_BASE64 = form("[A-Za-z0-9+/]*={0,2}")
BOX_ID = hex_of(ID_SIZE)
DIGEST = hex_of(DIGEST_SIZE)
COUNT = whole(0, 1 << 31)
TIME = whole(0, TIME_MOST)
WORD = form("[a-z ]{1,16}")
VERSION = whole(0, 255)
MILLIVOLTS = whole(0, 100_000)
NAMES = {"runs": form(r"[0-9]{5,8}\.hbj"), "timelines": DIGEST}
