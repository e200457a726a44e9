"""Tables in Markdown."""

from __future__ import annotations

from collections.abc import Iterable


def table(head: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    """Return a Markdown table."""
    heads = list(head)
    lines = ["| " + " | ".join(heads) + " |", "| " + " | ".join("---" for _ in heads) + " |"]
    lines += ["| " + " | ".join(str(cell) for cell in row) + " |" for row in rows]
    return "\n".join(lines)
