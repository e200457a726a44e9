"""Parts of the body that are sore: as they are said, and which exercises load them."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Set

from handbell.base.errors import UsageError
from handbell.coach.library.entry import TIRES, Entry
from handbell.coach.library.loads import LOADS, MOVED_BY
from handbell.coach.library.names import name_words, nearest

_SIDE_WORDS = ("left", "right")
_ALIKE = 0.75  # letters slip by less; a groin is no grip, a heart no chest


def newly_loaded(old: Entry, new: Entry) -> list[str]:
    """Return the parts that bear load with another exercise, and did not before.

    None where it isn't known what the old one loads.
    """
    if not old.loads_known:
        return []
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
            if _said(word) not in whole:
                near = nearest(word, parts, cutoff=_ALIKE) or parts
                remedy = f"Known parts: {', '.join(near)}"
                raise UsageError(f'"{word}" is no body part here', remedy)
            found.append(word)
    return tuple(found)


def strained(entry: Entry, sore: Iterable[str]) -> list[str]:
    """Return which sore parts an exercise is known to load or tire, by all that they stand for."""
    parts = {*entry.bears, *entry.tires}
    return [word for word in sore if not parts.isdisjoint(stands_for(word))]


@functools.lru_cache(maxsize=256)
def stands_for(word: str) -> tuple[str, ...]:
    """Return every part spared where one is sore: what is named, and what a muscle moves."""
    said = _said(word)
    parts = {part for part in (*LOADS, *TIRES) if _may_be(said, set(name_words(part)))}
    for muscle, joints in MOVED_BY.items():
        if said == set(name_words(muscle)):
            parts.update(joints)
    return tuple(part for part in (*LOADS, *TIRES) if part in parts)


def moved_by(sore: Iterable[str]) -> tuple[str, ...]:
    """Return the joints spared though nobody named them, since a sore muscle moves them."""
    words = list(sore)
    named = [_said(word) for word in words]
    found = {part for word in words for part in stands_for(word)}
    return tuple(
        part for part in LOADS if part in found and not any(_may_be(said, {part}) for said in named)
    )


def _said(word: str) -> frozenset[str]:
    """Return a part's words, whichever side it is."""
    return frozenset(name_words(word)).difference(_SIDE_WORDS)


def _may_be(said: Set[str], named: Set[str]) -> bool:
    """Return whether a part that was said may be one that is named.

    ``back`` is the spine and the lower back; what tires the upper back need not strain it. Who
    says ``upper back`` is spared what loads the spine, too.
    """
    if said == {"back"} and "upper" in named:
        return False
    return bool(said) and (said <= named or named <= said)
