"""A log of what was run, for reports of faults: no names, notes, folders or words of anybody."""

from __future__ import annotations

import contextlib
from datetime import datetime, timezone

from handbell import VERSION
from handbell.base.files import private_file
from handbell.base.places import state_folder

BYTES_MOST = 200_000  # of one file; the one before it is kept


def note(command: str, exit_code: int, took_ms: int, fault: str = "") -> None:
    """Add a line; a log that can't be written stops nothing.

    ``fault`` is an error's class, for a fault of ours with the places it came through.
    """
    with contextlib.suppress(Exception):
        path = state_folder() / "handbell.log"
        private_file(path)
        if path.exists() and path.stat().st_size > BYTES_MOST:
            path.replace(path.with_suffix(".log.1"))
            private_file(path)
        at = datetime.now(timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")
        with path.open("a", encoding="ascii", errors="replace") as file:
            file.write(f"{at} {VERSION} {command} {exit_code} {took_ms} ms {fault}".rstrip() + "\n")
