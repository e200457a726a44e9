"""What files a box holds: one that it can't read hides none of those behind it."""

from __future__ import annotations

from typing import Any

from handbell.base.errors import BoxError
from handbell_core import faults

from .connection import Connection
from .replies import strange

RUNS = "runs"
TIMELINES = "timelines"
UNREADABLE = (faults.FLASH_ERROR, faults.NOT_WHOLE, faults.NOT_FOUND)  # of one file, not the box
BLIND_MOST = 32  # files that may fail before one tells how many there are


def listing(connection: Connection, of: str) -> list[dict[str, Any]]:
    """Return the entry of every file of a kind on a box, in its order; raises BoxError.

    One that the box can't read has ``bad`` in place of a size and a digest, and no name when an
    older firmware refuses to list it.
    """
    found: list[dict[str, Any]] = []
    count: int | None = None  # until an answer tells it
    while count is None or len(found) < count:
        try:
            entry = connection.request("list", of=of, i=len(found))
        except BoxError as error:
            if error.code not in UNREADABLE or (count is None and len(found) >= BLIND_MOST):
                raise
            found.append({"bad": True})
            continue
        count = entry["n"]
        if "name" not in entry:
            break
        if any(entry["name"] == other.get("name") for other in found):
            raise strange(connection.label)
        found.append(entry)
    return found
