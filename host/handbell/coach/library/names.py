"""When two names mean the same exercise or the same kit."""

from __future__ import annotations

import difflib
import functools
import re
import unicodedata
from collections.abc import Iterable

_PLURALS = (
    ("ies", "y"),
    ("lves", "lf"),
    ("sses", "ss"),
    ("shes", "sh"),
    ("ches", "ch"),
    ("xes", "x"),
    ("s", ""),
)
_NEVER_PLURAL = ("ss", "us")
_LIKE, _SHORT_LIKE = 0.6, 0.7  # of short words, half of the letters are soon the same by chance
_SHORT = 5


def name_words(text: str) -> list[str]:
    """Return a text's words in one form: no capitals, accents, hyphens or plurals."""
    parts = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(c for c in parts if not unicodedata.combining(c) and c not in "'’")
    return [_singular(word) for word in re.findall(r"[^\W_]+", plain)]


@functools.lru_cache(maxsize=4096)
def name_key(text: str) -> str:
    """Return what a name is compared by: ``Push-ups``, ``push up`` and ``Pushup`` are the same."""
    return "".join(name_words(text))


def _singular(word: str) -> str:
    if len(word) <= 2 or word.endswith(_NEVER_PLURAL):
        return word
    for ending, instead in _PLURALS:
        if word.endswith(ending):
            return word[: -len(ending)] + instead
    return word


def nearest(text: str, names: Iterable[str], most: int = 3, cutoff: float = 0.0) -> list[str]:
    """Return the names most like a text, best first, possibly none.

    ``cutoff`` is how much they must have in common at least, 1 everything, unless they contain it.
    """
    by_key = {name_key(name): name for name in names}
    key = name_key(text)
    like = _LIKE if len(key) > _SHORT else _SHORT_LIKE
    near = difflib.get_close_matches(key, by_key, most, max(like, cutoff))
    near += [other for other in sorted(by_key) if len(key) > 2 and key in other]
    return [by_key[other] for other in dict.fromkeys(near)][:most]
