"""The hall in a timeline: put there when it is sent, so that its log tells whose class it was."""

from __future__ import annotations

import binascii
import struct
from dataclasses import replace

from handbell.base.digest import short_digest
from handbell.compile.build import BoxTimeline
from handbell_core import timeline as t
from handbell_core import versions


def with_hall(timeline: BoxTimeline, number: str) -> BoxTimeline:
    """Return a timeline that tells a hall, by its number in hex; its plan's digest stays."""
    data = stamped(timeline.data, number)
    return replace(timeline, data=data, digest=short_digest(data))


def stamped(data: bytes, number: str) -> bytes:
    """Return a timeline's bytes with a hall in its header."""
    head = bytearray(data[: t.HEADER_SIZE])
    minor = max(versions.minor(head[4]), t.HALL_MINOR)
    head[4] = versions.major(head[4]) | minor << 4
    head[t.HALL_AT : t.HALL_AT + t.HALL_SIZE] = bytes.fromhex(number)
    head[-4:] = struct.pack("<I", binascii.crc32(head[:-4]))
    return bytes(head) + data[t.HEADER_SIZE :]
