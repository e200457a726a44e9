"""Writes a timeline: what boxes only read.

The core's tests use it on MicroPython too, so it imports nothing that is missing there.
"""

import binascii
import struct

from handbell_core import versions
from handbell_core.timeline import (
    ASK_OPEN,
    HEAD_FIELDS,
    HEADER,
    LEGS_MINOR,
    MAGIC,
    OWN,
    SLOTS,
    SPAN,
    SPAN_FIELDS,
    SPAN_SIZE,
    TAP_LEG,
    VERSION,
    FormatError,
    Head,
    Span,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable

    from handbell_core.timeline import Task


class Leg:
    """A leg: who of so many ``people`` (its bib at its place), what (a text), of how many."""

    def __init__(self, place: int, people: int, bib: int, name: int, legs: int) -> None:
        self.place, self.people, self.bib, self.name, self.legs = place, people, bib, name, legs


def form(first: str, last: str) -> str:
    """Return the layout of a span's fields from ``first`` to ``last``."""
    names: list[str] = []
    for name in SPAN_FIELDS:
        names += [name] * (SLOTS if name == "bib" else 1)
    begin = names.index(first)
    end = len(names) - names[::-1].index(last)
    return "<" + SPAN[1:][begin:end]


def head_bytes(head: Head, has_legs: bool = False) -> bytes:
    """Return a header's 64 bytes, of the oldest version that can say what follows.

    ``has_legs`` says that there is a relay in which a tap hands over.
    """
    values = [getattr(head, name) for name in HEAD_FIELDS]
    version = versions.major(VERSION) if head.own_tasks else 1
    version |= LEGS_MINOR << 4 if has_legs else 0
    body = struct.pack(HEADER, MAGIC, version, SPAN_SIZE, *values, bytes(10), 0)[:-4]
    return body + struct.pack("<I", binascii.crc32(body))


def span_bytes(span: Span) -> bytes:
    """Return a span's 40 bytes."""
    values: list[int] = []
    for name in SPAN_FIELDS:
        value = getattr(span, name)
        values += value if name == "bib" else [value]
    return struct.pack(SPAN, *values)


class Writer:
    """Writes a timeline as a stream: header, strings, each span, each own task, the check.

    ``write`` takes bytes; ``head`` must hold the right counts; ``strings`` are Latin-1 bytes, the
    first two being the title and the station's label. Raises FormatError if counts don't match.
    """

    def __init__(
        self,
        write: "Callable[[bytes], object]",
        head: Head,
        strings: "list[bytes]",
        has_legs: bool = False,
    ) -> None:
        self._write = write
        self._left = head.spans
        self._left_own = head.own_tasks
        self._crc = 0
        head.strings = len(strings)
        head.string_bytes = sum(len(s) for s in strings)
        write(head_bytes(head, has_legs))
        offset = 0
        for s in strings:
            self._put(struct.pack("<I", offset))
            offset += len(s)
        self._put(struct.pack("<I", offset))
        for s in strings:
            self._put(s)

    def _put(self, data: bytes) -> None:
        self._crc = binascii.crc32(data, self._crc)
        self._write(data)

    def span(self, span: Span) -> None:
        """Write one span."""
        self.packed(span_bytes(span), 1)

    def packed(self, data: bytes, count: int) -> None:
        """Write ``count`` spans that are packed already."""
        self._left -= count
        self._put(data)

    def own(self, slot: int, task: "Task") -> None:
        """Write an own task, after the last span."""
        ask, tap, every, goal, name = task
        self._left_own -= 1
        self._put(struct.pack(OWN, slot, ask, tap, every, goal, name, 0))

    def leg(self, leg: "Leg") -> None:
        """Write one leg of a relay in which a tap hands over, among the own tasks."""
        self._left_own -= 1
        task = leg.place, ASK_OPEN, TAP_LEG, leg.people, 0, leg.name
        self._put(struct.pack(OWN, *task, leg.bib | leg.legs << 16))

    def finish(self) -> None:
        """Write the check; raises FormatError when spans or tasks are missing or too many."""
        if self._left or self._left_own:
            raise FormatError("span count")
        self._write(struct.pack("<I", self._crc))
