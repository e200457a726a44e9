"""The one place where results are printed, for people or as JSON, and errors become sentences."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from handbell.base.errors import EXIT_FAILED, EXIT_OK, FaultsError, HandbellError

if TYPE_CHECKING:
    from rich.console import Console


@dataclass
class Result:
    """What a command found: ``data`` for machines, ``text`` prints it for people.

    ``ok`` False makes the exit code 1 although the command itself ran to its end.
    """

    data: dict[str, Any]
    text: Callable[[Console], None]
    ok: bool = True


def print_result(result: Result, as_json: bool) -> int:
    """Print a result to standard output and return the exit code."""
    if as_json:
        sys.stdout.write(json.dumps(result.data, indent=2, ensure_ascii=False) + "\n")
    else:
        result.text(console())
    return EXIT_OK if result.ok else EXIT_FAILED


def console(stderr: bool = False) -> Console:
    """Return a console that colours only a terminal and wraps only there."""
    from rich.console import Console

    stream = sys.stderr if stderr else sys.stdout
    if stream.isatty():
        return Console(stderr=stderr, highlight=False)
    return Console(stderr=stderr, highlight=False, no_color=True, width=120)


def print_error(error: HandbellError) -> int:
    """Print an error to standard error as plain sentences and return its exit code."""
    if isinstance(error, FaultsError) and len(error.faults) == 1:
        fault = error.faults[0]
        sys.stderr.write(f"{error.path}: {fault}{'' if fault.endswith('?') else '.'}\n")
    elif isinstance(error, FaultsError):
        sys.stderr.write(f"{error.what}:\n")
        for fault in error.faults:
            sys.stderr.write(f"  - {fault}\n")
    else:
        sys.stderr.write(f"{error}\n")
    return error.exit_code
