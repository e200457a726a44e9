"""Taking a name out of words and out of a timeline's bytes."""

from __future__ import annotations

import binascii
import io
import re
import struct
import unicodedata
from functools import lru_cache
from itertools import pairwise

from handbell_core import timeline as t

REMOVED = "(name removed)"
_CHECK_SIZE = 4


@lru_cache(maxsize=4)
def _pattern(name: str) -> re.Pattern[str]:
    """Return what finds a name as whole words, in any case, also as a box would write it."""
    from anyascii import anyascii

    spellings = {" ".join(name.split()), " ".join(anyascii(name).split())} - {""}
    either = "|".join(r"\s+".join(map(re.escape, s.split())) for s in sorted(spellings))
    return re.compile(rf"(?<!\w)(?:{either})(?!\w)", re.IGNORECASE)


def without_name(text: str, name: str) -> str | None:
    """Return text with a name replaced, None if it does not stand there."""
    changed, count = _pattern(name).subn(REMOVED, unicodedata.normalize("NFC", text))
    return changed if count else None


def without_name_in_timeline(data: bytes, name: str) -> bytes | None:
    """Return a timeline with dashes for a name in its texts, None if it does not stand there.

    Every text keeps its length and the check is made anew, so that all else reads as before.
    """
    head = t.Reader(io.BytesIO(data)).head
    begin = t.HEADER_SIZE
    offsets = struct.unpack_from(f"<{head.strings + 1}I", data, begin)
    begin += 4 * len(offsets)
    out = bytearray(data)
    for at, end in pairwise(offsets):
        text = data[begin + at : begin + end].decode("latin-1")
        plain = _pattern(name).sub(lambda found: "-" * len(found.group()), text)
        out[begin + at : begin + end] = plain.encode("latin-1")
    if out == data:
        return None
    check = binascii.crc32(out[t.HEADER_SIZE : -_CHECK_SIZE])
    out[-_CHECK_SIZE:] = struct.pack("<I", check)
    return bytes(out)
