"""Changes to the text of a Python file, by where its syntax tree says that things stand."""

from __future__ import annotations

import ast


class SourceEdits:
    """Changes to one file; the places are those of the file as it was."""

    def __init__(self, source: bytes) -> None:
        self.source = source
        self._edits: list[tuple[int, int, bytes]] = []
        self._starts = [0]
        for line in source.splitlines(keepends=True):
            self._starts.append(self._starts[-1] + len(line))

    def span(self, node: ast.expr | ast.stmt | ast.arg | ast.alias) -> tuple[int, int]:
        """Return where a node begins and ends, in bytes."""
        end_line, end_column = node.end_lineno or node.lineno, node.end_col_offset or 0
        return (
            self._starts[node.lineno - 1] + node.col_offset,
            self._starts[end_line - 1] + end_column,
        )

    def put(self, start: int, end: int, text: bytes) -> None:
        """Let the bytes from ``start`` to ``end`` be others, and undo what was put in between."""
        self._edits = [e for e in self._edits if not (start <= e[0] and e[1] <= end)]
        self._edits.append((start, end, text))

    def text(self) -> bytes:
        """Return the file with all changes made."""
        out, at = b"", 0
        for start, end, text in sorted(self._edits):
            out += self.source[at:start] + text
            at = end
        return out + self.source[at:]
