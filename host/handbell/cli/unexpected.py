"""A fault of our own: told as a sentence, with no word of what was being worked on."""

from __future__ import annotations

import sys
from types import TracebackType

from handbell.base.errors import HandbellError

HERE = "handbell"


def told(error: Exception, debug: bool) -> tuple[HandbellError, str]:
    """Return what to tell, and what to log: the error's class and the places it came through.

    Never the error's own words: they may hold a name, a note or a folder. With ``debug`` the
    places go to standard error too.
    """
    places, kind = _places(error.__traceback__), type(error).__name__
    if debug:
        sys.stderr.write("".join(f"  at {place}\n" for place in places) + f"  {kind}\n")
    last = places[-1] if places else "an unknown place"
    said = HandbellError(
        f"Handbell failed by a fault of its own ({kind} at {last})",
        "Run the command again; if it fails again, please report what handbell doctor prints",
    )
    return said, " ".join((kind, *places))


def _places(trace: TracebackType | None) -> list[str]:
    """Return our own modules and lines, outermost first."""
    found = []
    while trace is not None:
        name = trace.tb_frame.f_globals.get("__name__", "")
        if name.split(".")[0] in (HERE, "handbell_core"):
            found.append(f"{name}:{trace.tb_lineno}")
        trace = trace.tb_next
    return found
