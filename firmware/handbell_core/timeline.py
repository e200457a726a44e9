"""The timeline: what one box plays, as fixed-size spans behind a header and a string table.

Little-endian; laid out byte by byte in ``docs/engineers/formats.md``. The reader holds one span at
a time, so a two-hour class costs a box the same memory as a two-minute one.
"""

import binascii
import hashlib
import struct

from . import versions

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import BinaryIO

    Task = tuple[int, int, int, int, int]

MAGIC = b"HBTL"
VERSION = 0x22  # 1 has no own tasks, 2.1 relays in which a tap hands over, a minor of 2 a hall
LEGS_MINOR, HALL_MINOR = 1, 2  # from which minors on
HEADER_SIZE = 64
HALL_AT, HALL_SIZE = 50, 8  # in the header; a box does not read it
SPAN_SIZE = 40
OWN = "<BBBBHHI"
OWN_SIZE = 12
SLOTS = 4
PEOPLE_MOST = 24  # in a relay in which a tap hands over
DIGEST_SIZE = 12
NO_TEXT = 0xFFFF

# The fields of a header (after its magic, version and span size) and of a span, in the order of
# their layouts; ``bib`` is four of them. Writers and the host's columns go by these as well.
HEADER = "<4sBBHIIHHIIIHBB12sH10sI"
HEAD_FIELDS = (
    "flags", "spans", "windows", "strings", "grid_s", "slot_ms", "total_ms", "string_bytes",
    "station", "buttons", "count_s", "plan", "own_tasks",
)  # fmt: skip
SPAN = "<BBBBIIHHHHHHHHHHHHBBH"
SPAN_FIELDS = (
    "kind", "ask", "tap", "every", "start_ms", "duration_ms", "block", "round", "item", "window",
    "goal", "name", "next", "who", "bib", "flags", "owns", "own_at",
)  # fmt: skip

# Span kinds
LEAD_IN, WARM_UP, WINDOW, CHANGE, REST, BREAK, GATE, COOL_DOWN, RATING = range(1, 10)
KINDS = (
    "",
    "lead-in",
    "warm-up",
    "window",
    "change",
    "rest",
    "break",
    "gate",
    "cool-down",
    "rating",
)

# What a window asks for
ASK_NONE, ASK_OPEN, ASK_TARGET, ASK_HOLD = range(4)
ASKS = ("", "open", "target", "hold")

# How people tap
TAP_NONE, TAP_EACH, TAP_EVERY, TAP_FINISH, TAP_TALLY, TAP_DROP, TAP_LEG = range(7)
TAPS = ("none", "each", "every", "finish", "tally", "drop", "leg")

# Span flags
BOTH_SIDES = 1  # a cue at half time: change sides
TAKES_TALLY = 2  # the count of the window before is entered here
LAST_WINDOW = 4
HAND_OVER = 8  # one person at a time, until a tap hands over to the next

# Header flags
SILENT = 1

TITLE = 0
STATION_LABEL = 1


class FormatError(ValueError):
    """Bytes that are no timeline (or journal) of a version we read; says which check failed."""


class VersionError(FormatError):
    """A timeline of a version that is not read here."""


class Span:
    """One stretch of a timeline with one meaning; texts are indexes into the string table.

    ``bib[slot]`` is who is at that button, 0 for nobody. ``next`` names the exercise to come.
    ``own[slot]`` is what that bib is asked for instead of what the others are, or None. Where a
    tap hands over, ``people`` are the bibs in their order, and after ``legs`` legs all begins anew.
    """

    def __init__(self) -> None:
        self.kind = self.ask = self.tap = self.flags = 0
        self.every = 1
        self.start_ms = self.duration_ms = 0
        self.block = self.round = self.item = self.window = 0
        self.goal = 0
        self.name = self.next = self.who = NO_TEXT
        self.bib = [0] * SLOTS
        self.owns = self.own_at = 0  # how many own tasks, and which is the first
        self.own: "list[Task | None]" = [None] * SLOTS
        self.people: "tuple[int, ...]" = ()
        self.legs = 0

    def task(self, slot: int) -> "Task":
        """Return (ask, tap, every, goal, name) of what the bib at ``slot`` is asked for."""
        return self.own[slot] or (self.ask, self.tap, self.every, self.goal, self.name)

    def end_ms(self) -> int:
        """Return the ``class_ms`` at which the span ends."""
        return self.start_ms + self.duration_ms

    def unpack(self, buf: bytes) -> None:
        """Take the span's fields from its 40 bytes."""
        values = struct.unpack(SPAN, buf)
        at = 0
        for name in SPAN_FIELDS:
            if name == "bib":
                self.bib[:] = values[at : at + SLOTS]
                at += SLOTS
            else:
                setattr(self, name, values[at])
                at += 1


class Head:
    """The header's facts: counts, totals and what applies to the whole timeline."""

    def __init__(self) -> None:
        self.flags = 0
        self.spans = 0
        self.windows = 0
        self.grid_s = 30
        self.slot_ms = 0
        self.total_ms = 0
        self.station = 0
        self.buttons = 1
        self.count_s = 0
        self.strings = 0
        self.string_bytes = 0
        self.own_tasks = 0
        self.plan = bytes(DIGEST_SIZE)

    @staticmethod
    def unpack(buf: bytes) -> "Head":
        """Return the header in 64 bytes; raises FormatError."""
        if len(buf) < HEADER_SIZE or buf[:4] != MAGIC:
            raise FormatError("no timeline")
        if not versions.reads(VERSION, buf[4]) or buf[5] != SPAN_SIZE:
            raise VersionError("timeline version %s" % versions.name(buf[4]))
        values = struct.unpack(HEADER, buf[:HEADER_SIZE])
        if values[-1] != binascii.crc32(buf[: HEADER_SIZE - 4]):
            raise FormatError("timeline header check")
        head = Head()
        at = 3
        for name in HEAD_FIELDS:
            setattr(head, name, values[at])
            at += 1
        return head

    def spans_at(self) -> int:
        """Return the file offset of the first span."""
        return HEADER_SIZE + 4 * (self.strings + 1) + self.string_bytes

    def size(self) -> int:
        """Return the whole file's size in bytes."""
        return self.owns_at() + OWN_SIZE * self.own_tasks + 4

    def owns_at(self) -> int:
        """Return the file offset of the first own task."""
        return self.spans_at() + SPAN_SIZE * self.spans


class Reader:
    """Reads a timeline from a seekable binary file, one span at a time."""

    def __init__(self, file: "BinaryIO") -> None:
        self._file = file
        file.seek(0)
        self.head = Head.unpack(file.read(HEADER_SIZE))
        self._spans_at = self.head.spans_at()
        self._strings_at = HEADER_SIZE + 4 * (self.head.strings + 1)

    def span(self, index: int, into: Span) -> Span:
        """Fill ``into`` with span ``index`` and return it; raises IndexError, FormatError."""
        if not 0 <= index < self.head.spans:
            raise IndexError(index)
        self._file.seek(self._spans_at + SPAN_SIZE * index)
        buf = self._file.read(SPAN_SIZE)
        if len(buf) != SPAN_SIZE:
            raise FormatError("timeline cut short")
        into.unpack(buf)
        for slot in range(SLOTS):
            into.own[slot] = None
        into.people = ()
        if into.flags & HAND_OVER:
            self._people(into)
        elif into.owns:
            self._seek_own(into.own_at)
            for _ in range(min(into.owns, SLOTS)):
                slot, ask, tap, every, goal, name, _ = self._own()
                if slot >= SLOTS:
                    raise FormatError("own task")
                into.own[slot] = (ask, tap, every, goal, name)
        return into

    def _people(self, into: Span) -> None:
        """Read who hands over to whom: everybody has had a leg before anybody has another."""
        self._seek_own(into.own_at)
        first = self._own()
        bibs = [first[6] & 0xFFFF]
        for _ in range(1, min(first[3], PEOPLE_MOST)):
            bibs.append(self._own()[6] & 0xFFFF)
        into.people = tuple(bibs)
        into.legs = max(1, first[6] >> 16)

    def leg(self, span: Span, number: int) -> "tuple[int, int]":
        """Return (bib, name) of a leg, from 0, of a span in which a tap hands over."""
        self._seek_own(span.own_at + number % span.legs)
        own = self._own()
        return own[6] & 0xFFFF, own[5]

    def _seek_own(self, index: int) -> None:
        self._file.seek(self.head.owns_at() + OWN_SIZE * index)

    def _own(self) -> "tuple[int, int, int, int, int, int, int]":
        buf = self._file.read(OWN_SIZE)
        if len(buf) != OWN_SIZE:
            raise FormatError("own task")
        slot, ask, tap, every, goal, name, more = struct.unpack(OWN, buf)
        return slot, ask, tap, every, goal, name, more

    def text(self, index: int) -> bytes:
        """Return string ``index`` as Latin-1 bytes, b"" for none."""
        if not 0 <= index < self.head.strings:
            return b""
        self._file.seek(HEADER_SIZE + 4 * index)
        at, end = struct.unpack("<II", self._file.read(8))
        self._file.seek(self._strings_at + at)
        data: bytes = self._file.read(end - at)
        return data


def digest_of(file: "BinaryIO", chunk: int = 256) -> bytes:
    """Return the 12-byte digest (SHA-256, cut) of a seekable binary file, read in chunks."""
    file.seek(0)
    sha = hashlib.sha256()
    while True:
        data = file.read(chunk)
        if not data:
            return sha.digest()[:DIGEST_SIZE]
        sha.update(data)


def verify(file: "BinaryIO") -> Head:
    """Check a whole timeline as a stream and return its header; raises FormatError."""
    file.seek(0)
    head = Head.unpack(file.read(HEADER_SIZE))
    left = head.size() - HEADER_SIZE - 4
    crc = 0
    while left > 0:
        data = file.read(min(left, 256))
        if not data:
            raise FormatError("timeline cut short")
        crc = binascii.crc32(data, crc)
        left -= len(data)
    tail = file.read(5)
    if len(tail) != 4 or struct.unpack("<I", tail)[0] != crc:
        raise FormatError("timeline check")
    return head
