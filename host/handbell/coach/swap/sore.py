"""Parts of the body that are sore: as they are said, and which exercises load them."""

from __future__ import annotations

import re
from collections.abc import Iterable

from handbell.base.errors import UsageError
from handbell.coach.library.entry import TIRES, Entry
from handbell.coach.library.loads import LOADS
from handbell.coach.library.names import name_words, nearest

_SIDE_WORDS = ("left", "right")


def newly_loaded(old: Entry, new: Entry) -> list[str]:
    """Return the parts that bear load with another exercise, and did not before."""
    return [part for part in new.bears if part not in old.bears]


def sore_parts(words: Iterable[str]) -> tuple[str, ...]:
    """Return body parts as they were said, one by one; commas part them.

    Raises UsageError for one that no exercise names as a whole.
    """
    parts = (*LOADS, *TIRES)
    whole = [set(name_words(part)) for part in parts]
    found = []
    for said in words:
        for word in filter(None, (piece.strip() for piece in re.split(r",|\band\b", said))):
            if {*name_words(word)}.difference(_SIDE_WORDS) not in whole:
                near = nearest(word, parts) or LOADS
                remedy = f"Known parts: {', '.join(near)}"
                raise UsageError(f'"{word}" is no body part here', remedy)
            found.append(word)
    return tuple(found)


def strained(entry: Entry, sore: Iterable[str]) -> list[str]:
    """Return which sore parts an exercise loads or tires."""
    parts = (*entry.bears, *entry.tires)
    return [word for word in sore if any(_same_part(word, part) for part in parts)]


def _same_part(word: str, part: str) -> bool:
    """Return whether a part that was said may be one that is named.

    ``back`` is the spine and the lower back; what tires the upper back need not strain it. Who
    says ``upper back`` is spared what loads the spine, too.
    """
    said, named = set(name_words(word)), set(name_words(part))
    if said == {"back"} and "upper" in named:
        return False
    return bool(said) and (said <= named or named <= said)
