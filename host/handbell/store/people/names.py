"""People's names as the store keeps them: plain, of one spelling, never too long."""

from __future__ import annotations

import unicodedata

LONGEST = 80
# Marks that turn the writing direction round or take no room; a name needs none of them.
_UNSEEN = {0x061C, 0x200B, 0x200E, 0x200F, 0xFEFF, *range(0x202A, 0x202F), *range(0x2066, 0x206A)}


def plain_text(text: str) -> str:
    """Return text on one line without control and direction marks, composed as Unicode's NFC."""
    kept = "".join(
        " " if c.isspace() else c
        for c in text
        if c.isspace() or (unicodedata.category(c) not in ("Cc", "Cs") and ord(c) not in _UNSEEN)
    )
    return " ".join(unicodedata.normalize("NFC", kept).split())


def too_long(text: str) -> str:
    """Return what is wrong with a name's length in words, "" if nothing is."""
    if len(text) <= LONGEST:
        return ""
    return f"has {len(text)} characters, the most is {LONGEST}"


def key_of(name: str) -> str:
    """Return what is the same for two spellings of a name that differ in case alone."""
    return unicodedata.normalize("NFC", plain_text(name).casefold())
