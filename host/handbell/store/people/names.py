"""People's names as the store keeps them: plain, of one spelling, never too long."""

from __future__ import annotations

import unicodedata

LONGEST = 80
# What joins letters of some scripts and emoji; all else that takes no room, a name does not need.
_JOINERS = "\u200c\u200d"


def plain_text(text: str) -> str:
    """Return text on one line without control and direction marks, composed as Unicode's NFC."""
    kept = "".join(
        " " if c.isspace() else c
        for c in text
        if c.isspace() or c in _JOINERS or unicodedata.category(c) not in ("Cc", "Cf", "Cs")
    )
    return " ".join(unicodedata.normalize("NFC", kept).split())


def too_long(text: str) -> str:
    """Return what is wrong with a name's length in words, "" if nothing is."""
    if len(text) <= LONGEST:
        return ""
    return f"has {len(text)} characters, the most is {LONGEST}"


def key_of(name: str) -> str:
    """Return what is the same for two spellings of a name that differ in case or joiners alone."""
    plain = "".join(c for c in plain_text(name) if c not in _JOINERS)
    return unicodedata.normalize("NFC", plain.casefold())
