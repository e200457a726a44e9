"""What files a box holds: one that it can't read hides none of those behind it."""

from __future__ import annotations

from handbell.base.errors import BoxError
from handbell_core import faults

from .connection import Connection
from .messages import File
from .replies import LIST, strange

RUNS = "runs"
TIMELINES = "timelines"
UNREADABLE = (faults.FLASH_ERROR, faults.NOT_WHOLE, faults.NOT_FOUND)  # of one file, not the box
BLIND_MOST = 32  # files that may fail before one tells how many there are


def listing(connection: Connection, of: str) -> list[File]:
    """Return every file of a kind on a box, in its order; raises BoxError."""
    found: list[File] = []
    count: int | None = None  # until an answer tells it
    while count is None or len(found) < count:
        try:
            listed = connection.ask(LIST, of=of, i=len(found))
        except BoxError as error:
            if error.code not in UNREADABLE or (count is None and len(found) >= BLIND_MOST):
                raise
            found.append(File(bad=True))
            continue
        count = listed.count
        if listed.file is None:
            break
        if any(listed.file.name == other.name for other in found):
            raise strange(connection.label)
        found.append(listed.file)
    return found
