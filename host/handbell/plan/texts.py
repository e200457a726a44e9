"""What a box can draw: Latin letters with accents; anything else is transliterated."""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Sequence

NAME_MOST = 32
LINE_MOST = 21  # characters of the box's 6-pixel font across its 128 pixels

_UNSEEN = {"Cf", "Mn", "Me"}  # format controls, and marks with no letter to join


def tidy(text: str) -> str:
    """Return the text composed (NFC), each run of white space as one space, none at the ends."""
    return " ".join(unicodedata.normalize("NFC", text).split())


def drawable(text: str) -> str:
    """Return the text in what a box can draw: printable Latin-1, possibly empty.

    Controls that are not seen (bidi, zero-width) are dropped, other signs transliterated.
    """
    return tidy("".join(map(_drawn, tidy(text))))


def _drawn(sign: str) -> str:
    if sign.isprintable() and ord(sign) < 256:
        return sign
    category = unicodedata.category(sign)
    if category in _UNSEEN:
        return ""
    if category == "Cc":
        return " "
    from anyascii import anyascii

    return anyascii(sign)


def did_you_mean(word: str, known: Sequence[str]) -> str:
    """Return what may have been meant by a word that isn't known, as the rest of a sentence."""
    near = difflib.get_close_matches(word, known, 1, 0.6)
    near = near or [k for k in known if k.split("_")[0] == word.split("_")[0]][:1]
    return f"did you mean {near[0]}?" if near else f"known are {', '.join(known)}"
