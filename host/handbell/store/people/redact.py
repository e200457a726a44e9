"""Taking a name out of words and out of a timeline's bytes."""

from __future__ import annotations

import binascii
import io
import re
import struct
import unicodedata
from collections.abc import Callable, Iterable
from functools import lru_cache
from itertools import pairwise

from handbell_core import timeline as t

REMOVED = "(name removed)"
_CHECK_SIZE = 4
_DASH = ord("-")
_APOSTROPHE = re.compile("['’‘ʼ`´]")


@lru_cache(maxsize=4)
def _pattern(name: str) -> re.Pattern[str]:
    return either_of([name])


def either_of(names: Iterable[str]) -> re.Pattern[str]:
    """Return what finds names as whole words, in any case, also as a box would write them.

    A low line ends a word, as a space does, and any apostrophe is as good as another.
    """
    from anyascii import anyascii

    spellings = {" ".join(s.split()) for name in names for s in (name, anyascii(name))} - {""}
    longest_first = sorted(spellings, key=lambda s: (-len(s), s))
    either = "|".join(r"[\s_]+".join(map(re.escape, s.split())) for s in longest_first)
    either = _APOSTROPHE.sub(_APOSTROPHE.pattern, either)
    return re.compile(rf"(?<![^\W_])(?:{either})(?![^\W_])", re.IGNORECASE)


def without_name(text: str, name: str) -> str | None:
    """Return text with a name replaced, None if it does not stand there."""
    changed, count = _pattern(name).subn(REMOVED, unicodedata.normalize("NFC", text))
    return changed if count else None


def without_name_in_timeline(data: bytes, name: str) -> bytes | None:
    """Return a timeline with dashes for a name in its texts, None if it does not stand there."""
    return with_dashes(data, lambda of_exercise: _pattern(name))


def with_dashes(data: bytes, pattern_of: Callable[[bool], re.Pattern[str]]) -> bytes | None:
    """Return a timeline with dashes for what a pattern finds in its texts, None if it finds none.

    ``pattern_of`` is asked with True for exercises' names. Every text keeps its length and the
    check is made anew, so that all else reads as before.
    """
    reader = t.Reader(io.BytesIO(data))
    head = reader.head
    exercises = _texts_of_exercises(reader)
    begin = t.HEADER_SIZE
    offsets = struct.unpack_from(f"<{head.strings + 1}I", data, begin)
    begin += 4 * len(offsets)
    out = bytearray(data)
    for index, (at, end) in enumerate(pairwise(offsets)):
        text = data[begin + at : begin + end].decode("latin-1")
        pattern = pattern_of(index in exercises)
        plain = pattern.sub(lambda found: "-" * len(found.group()), text)
        out[begin + at : begin + end] = plain.encode("latin-1")
    if out == data:
        return None
    check = binascii.crc32(out[t.HEADER_SIZE : -_CHECK_SIZE])
    out[-_CHECK_SIZE:] = struct.pack("<I", check)
    return bytes(out)


def _texts_of_exercises(reader: t.Reader) -> set[int]:
    found: set[int] = set()
    for number in range(reader.head.spans):
        span = reader.span(number, t.Span())
        found |= {span.name, span.next, *(own[4] for own in span.own if own)}
    return found


def may_be_one_timeline(one: bytes, other: bytes) -> bool:
    """Whether two timelines can be one, of which names were taken out on either side."""
    if len(one) != len(other) or one[: t.HEADER_SIZE] != other[: t.HEADER_SIZE]:
        return False
    head = t.Head.unpack(one[: t.HEADER_SIZE])
    begin, end = t.HEADER_SIZE + 4 * (head.strings + 1), head.spans_at()
    if one[:begin] != other[:begin] or one[end:-_CHECK_SIZE] != other[end:-_CHECK_SIZE]:
        return False
    pairs = zip(one[begin:end], other[begin:end], strict=True)
    return all(a == b or _DASH in (a, b) for a, b in pairs)


def may_be_one_text(one: str, other: str) -> bool:
    """Whether two texts can be one, of which names were taken out on either side."""
    one, other = (unicodedata.normalize("NFC", text) for text in (one, other))
    return _may_be_of(one, other) or _may_be_of(other, one) or (REMOVED in one and REMOVED in other)


def _may_be_of(plain: str, whole: str) -> bool:
    """Whether what is left of a text stands in another in its order, between the same ends."""
    first, *rest = plain.split(REMOVED)
    if not rest:
        return plain == whole
    if not whole.startswith(first) or not whole.endswith(rest[-1]):
        return False
    at = len(first)
    for piece in rest[:-1]:
        at = whole.find(piece, at)
        if at < 0:
            return False
        at += len(piece)
    return at <= len(whole) - len(rest[-1])
