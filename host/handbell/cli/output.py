"""The one place that prints: text for people, JSON for programs, errors as sentences."""

from __future__ import annotations

import codecs
import contextlib
import dataclasses
import json
import os
import sys
import textwrap
from collections.abc import Callable, Iterable, Iterator, Sequence
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from handbell.base.errors import EXIT_FAILED, EXIT_OK, FaultsError, HandbellError

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

CONTRACT = 1  # the version of what --json prints; another one breaks who reads it
PIPED_WIDE = 1_000  # columns where nobody looks on and COLUMNS isn't said: no line is broken
SIMPLER = "handbell.simpler"  # what to do with what a stream can't write
PLAINER = {"–": "-", "−": "-", "×": "x", "…": "...", "±": "+-", "’": "'", "‘": "'", "→": "->"}
LINE_WIDE = 100  # columns of words beside a heading where nobody looks on
COLUMN_LEAST = 16  # columns of a terminal that one of several alike has at least


class Out:
    """What people read: whatever stands in a line or a cell is shown as it is, never as markup."""

    def __init__(self, stream: TextIO | None = None) -> None:
        from rich.console import Console

        stream = stream or sys.stdout
        usual: dict[str, Any] = {"file": stream, "highlight": False, "markup": False}
        wide = _columns_said()
        if not stream.isatty():
            usual |= {"no_color": True, "width": wide or PIPED_WIDE}
        self.console: Console = Console(emoji=False, **usual)
        self._wraps = self.console.is_terminal or wide > 0

    def line(self, words: object = "", style: str | None = None) -> None:
        """Print a line, wrapped only where a width is known, there under where it begins."""
        from rich.table import Table

        told = shown(str(words))
        begins = told.lstrip(" ").removeprefix("- ")
        if self._wraps and begins != told:
            hanging = Table.grid()
            hanging.add_column(no_wrap=True)
            hanging.add_column()
            hanging.add_row(told[: -len(begins)] if begins else told, begins)
            self.console.print(hanging, style=style)
        else:
            self.console.print(told, style=style)

    def lines(self, many: Iterable[object]) -> None:
        """Print lines."""
        for words in many:
            self.line(words)

    def note(self, words: object) -> None:
        """Print a remark under what it belongs to."""
        self.line(f"  note: {words}")

    def table(
        self,
        headings: Sequence[str],
        rows: Iterable[Sequence[object]],
        *,
        right: Iterable[int] = (),
        whole: Iterable[int] = (),
        title: str = "",
    ) -> None:
        """Print rows under headings; columns of ``right`` (from 0) stand at the right.

        Those of ``whole`` are never broken into lines; of no cell anything is cut off.
        """
        self.console.print(self.made_table(headings, rows, right=right, whole=whole, title=title))

    @staticmethod
    def made_table(
        headings: Sequence[str],
        rows: Iterable[Sequence[object]],
        *,
        right: Iterable[int] = (),
        whole: Iterable[int] = (),
        title: str = "",
    ) -> Table:
        """Return a table for what is drawn anew again and again; see ``table``."""
        from rich.table import Table

        table = Table(box=None, pad_edge=False, title=shown(title) or None, title_justify="left")
        ends, kept = set(right), set(whole)
        for n, heading in enumerate(headings):
            table.add_column(
                shown(heading),
                justify="right" if n in ends else "left",
                no_wrap=n in kept,
                overflow="fold",
            )
        for row in rows:
            table.add_row(*(shown(str(cell)) for cell in row))
        return table

    def pairs(self, rows: Iterable[tuple[str, object]], wide: int = 24) -> None:
        """Print words beside their headings, which take ``wide`` columns, under themselves."""
        if not self._wraps:
            for heading, words in rows:
                begins = shown(f"  {heading}").ljust(wide + 1) + " "
                lines = textwrap.wrap(shown(str(words)), LINE_WIDE - len(begins)) or [""]
                self.line(begins + f"\n{' ' * len(begins)}".join(lines))
            return
        from rich.table import Table

        table = Table.grid(padding=(0, 2, 0, 0))
        table.add_column(min_width=wide, no_wrap=True)
        table.add_column()
        for heading, words in rows:
            table.add_row(shown(f"  {heading}"), shown(str(words)))
        self.console.print(table)

    def grid(
        self, first: Sequence[str], headings: Sequence[str], rows: Sequence[Sequence[str]]
    ) -> None:
        """Print a table whose columns after the ``first`` are alike; those with no room go below.

        Where that is too wide there are several tables, each with the first columns.
        """
        lead = len(first)
        columns = [*zip(headings, *(row[lead:] for row in rows), strict=True)]
        wide = (max(map(len, column)) for column in columns)
        words = (max(map(len, " ".join(column).split()), default=0) for column in columns)
        least = [max(min(COLUMN_LEAST, w), word) for w, word in zip(wide, words, strict=True)]
        firsts = zip(first, *(row[:lead] for row in rows), strict=True)
        room = self.console.width - sum(max(map(len, column)) + 2 for column in firsts) + 2
        at = 0
        while at < len(headings):
            end = at + 1
            while end < len(headings) and sum(least[at : end + 1]) + 2 * (end + 1 - at) <= room:
                end += 1
            if at:
                self.line()
            cells = [(*row[:lead], *row[lead + at : lead + end]) for row in rows]
            whole = range(lead)
            self.table((*first, *headings[at:end]), cells, right=whole[:2], whole=whole)
            at = end


def _columns_said() -> int:
    """Return how many columns the environment says there are, 0 when it doesn't."""
    said = os.environ.get("COLUMNS", "")
    return int(said) if said.isdecimal() and len(said) < 7 else 0


def shown(words: str) -> str:
    """Return words with what a terminal would obey written as escapes; line ends stay."""
    return "".join(c if c.isprintable() or c == "\n" else f"\\x{ord(c):02x}" for c in words)


def say(result: Any, text: Callable[[Any, Out], None], as_json: bool) -> int:
    """Print a typed result and return the exit code: 1 where its ``ok`` is False."""
    ok = bool(getattr(result, "ok", True))
    with _writing("What was done is done; give it another place"):
        if as_json:
            _json({"version": CONTRACT, "ok": ok, "data": plain(result)})
        else:
            text(result, Out())
    return EXIT_OK if ok else EXIT_FAILED


def write(words: str) -> None:
    """Write words that no command has made, such as help; raises HandbellError."""
    with _writing("Give it another place"):
        sys.stdout.write(words)


@contextlib.contextmanager
def _writing(remedy: str) -> Iterator[None]:
    try:
        yield
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:  # a full disk behind a redirection
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise HandbellError(
            f"What was to be said can't be written ({error.strerror})", remedy
        ) from error


def aside(sentences: Iterable[str]) -> None:
    """Print what happened by the way, on standard error."""
    with contextlib.suppress(OSError):  # nobody reads it
        sys.stderr.writelines(shown(f"{sentence.removesuffix('.')}.\n") for sentence in sentences)


def fail(error: HandbellError, as_json: bool) -> int:
    """Print an error, on standard output with ``as_json`` and else on standard error."""
    try:
        _fail(error, as_json)
    except OSError:  # nobody reads, or a full disk behind a redirection: the exit code still tells
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return error.exit_code


def _fail(error: HandbellError, as_json: bool) -> None:
    if as_json:
        told = {"what": error.what, "remedy": error.remedy, "faults": getattr(error, "faults", [])}
        _json({"version": CONTRACT, "ok": False, "error": told})
    elif isinstance(error, FaultsError) and len(error.faults) == 1:
        fault = error.faults[0]
        end = "" if fault.endswith("?") or "\n" in fault else "."
        sys.stderr.write(shown(f"{error.path}: {fault}{end}\n"))
    elif isinstance(error, FaultsError):
        sys.stderr.write(shown(f"{error.what}:\n"))
        sys.stderr.writelines(shown(f"  - {fault}\n") for fault in error.faults)
    else:
        sys.stderr.write(shown(f"{error}\n"))
    sys.stdout.flush()


def plain(value: Any) -> Any:
    """Return a typed result as JSON has it: dataclasses as objects, bytes as hex."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(one) for one in value]
    if isinstance(value, (set, frozenset)):
        return sorted(plain(one) for one in value)
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, Enum):
        return plain(value.value)
    if value is None or isinstance(value, (str, int, float, bool)):
        return value
    return str(value)


def _json(value: Any) -> None:
    # What the stream can't write becomes an escape, which says the same in JSON.
    narrow = (sys.stdout.encoding or "").lower().replace("-", "") != "utf8"
    sys.stdout.write(json.dumps(value, indent=2, ensure_ascii=narrow) + "\n")


def _simpler(error: UnicodeError) -> tuple[str, int]:
    assert isinstance(error, UnicodeEncodeError)
    unable = error.object[error.start : error.end]
    return "".join(PLAINER.get(c, "?") for c in unable), error.end


def open_streams() -> None:
    """Let no letter stop a command, and no stream that is closed.

    A sign that a stream can't write is shown as one like it, a letter as a question mark.
    """
    codecs.register_error(SIMPLER, _simpler)
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors=SIMPLER)
