"""Lists, counts and quotes: one form of each, in every sentence and on every page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def listed(words: Iterable[str], last: str = "and") -> str:
    """Return words as a sentence lists them: ``a, b and c``; "" of none."""
    *most, end = [*words] or [""]
    return f"{', '.join(most)} {last} {end}" if most else end


def several(count: int, one: str, many: str = "") -> str:
    """Return a count with its noun: ``1 log``, ``2 logs``."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def block_words(number: int, name: str) -> str:
    """Return what a block is called: ``Block 2, Ropes``; its number alone where it has no name."""
    return f"Block {number}, {name}" if name else f"Block {number}"


def few(words: Sequence[str], most: int) -> list[str]:
    """Return words, and of more than ``most`` and one how many more; one more is said itself."""
    if len(words) <= most + 1:
        return list(words)
    return [*words[:most], f"{len(words) - most} more"]


def short(text: str, most: int = 120) -> str:
    """Return a text that fits a line or two, cut with an ellipsis."""
    return text if len(text) <= most else text[: most - 1] + "…"


def quoted(text: str) -> str:
    """Return the text in quotes, with what can't be seen written as escapes."""
    seen = "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in text)
    return f'"{seen}"'
