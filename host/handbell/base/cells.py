"""Text in a sheet's cells: never taken for a formula, and found again as it was.

The characters that begin a formula, and the remedy of an apostrophe before them: OWASP, CSV
Injection.
"""

from __future__ import annotations

_BEGIN = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def safe(value: object) -> object:
    """Return a value as a cell may hold it: text that would begin a formula gets an apostrophe.

    So does text that begins with one already, so that ``as_written`` gives everything back.
    Numbers stay numbers, below 0 too.
    """
    if isinstance(value, str) and value.startswith((*_BEGIN, "'")):
        return "'" + value
    return value


def as_written(text: str) -> str:
    """Return a cell's text without the apostrophe of ``safe``."""
    return text[1:] if text.startswith("'") and text[1:].startswith((*_BEGIN, "'")) else text
