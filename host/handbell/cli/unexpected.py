"""A fault of our own: told as a sentence, with no word of what was being worked on."""

from __future__ import annotations

import sys
from types import TracebackType

from handbell.base.errors import HandbellError

HERE = "handbell"


def told(error: Exception, debug: bool) -> HandbellError:
    """Return what to tell; with ``debug`` the places it came through go to standard error.

    Never the error's own words: they may hold a name, a note or a folder.
    """
    places = _places(error.__traceback__)
    if debug:
        sys.stderr.write("".join(f"  at {place}\n" for place in places))
        sys.stderr.write(f"  {type(error).__name__}\n")
    last = places[-1] if places else "an unknown place"
    return HandbellError(
        f"Handbell failed by a fault of its own ({type(error).__name__} at {last})",
        "Nothing half done was kept. Please report this, with what the same command says "
        "after --debug",
    )


def _places(trace: TracebackType | None) -> list[str]:
    """Return our own modules and lines, outermost first."""
    found = []
    while trace is not None:
        name = trace.tb_frame.f_globals.get("__name__", "")
        if name.split(".")[0] in (HERE, "handbell_core"):
            found.append(f"{name}:{trace.tb_lineno}")
        trace = trace.tb_next
    return found
