"""Finding the people a store knows in words that go out without names.

Known is everybody who is on the roster, wore a bib or was named by an amendment, also in a class
that was deleted and can be brought back, and what halls are called. Looked for are whole names, and
each word of them that begins with a capital and has three letters or more: a plan says "Mina" where
the roster has two names. Of a name without capitals it is each word. Names that were never entered,
and nicknames, can't be found.
"""

from __future__ import annotations

import re
import unicodedata

from sqlalchemy import Connection, select

from handbell.store.database import tables

from .names import key_of, plain_text
from .redact import REMOVED, either_of, with_dashes

WORD_LEAST = 3
_NEVER = re.compile(r"(?!)")
_PLAIN_VALUE = re.compile(r"-?\d*|end|yes")  # what an amendment may say that is no name


class KnownNames:
    """The names a store knows; ``leaving_out`` is one that may stay."""

    def __init__(self, conn: Connection, leaving_out: str = "") -> None:
        names = _names(conn)
        mine = {key_of(word) for word in [leaving_out, *leaving_out.split()]}
        whole = {name for name in names if key_of(name) not in mine}
        words = {
            word
            for name in whole
            for word in name.split()
            if len(word) >= WORD_LEAST
            and (word[0].isupper() or name == name.lower())
            and key_of(word) not in mine
        }
        halls = _halls(conn)
        self.count = len(whole | halls)
        self._whole = either_of(whole) if whole else _NEVER
        self._any = either_of(whole | words | halls) if whole or halls else _NEVER

    def found(self, text: str) -> list[str]:
        """Return the names and words of names that stand in a text, as they stand there."""
        return sorted({m.group() for m in self._any.finditer(unicodedata.normalize("NFC", text))})

    def without(self, text: str, of_exercise: bool = False) -> str:
        """Return a text with them replaced; in an exercise's name only whole ones.

        What an exercise is called is often somebody's surname, and must stay the same everywhere.
        """
        pattern = self._whole if of_exercise else self._any
        return pattern.sub(REMOVED, unicodedata.normalize("NFC", text))

    def without_in_timeline(self, data: bytes) -> bytes | None:
        """Return a timeline's bytes with dashes for them, None if none stands there."""
        return with_dashes(data, lambda of_exercise: self._whole if of_exercise else self._any)


def no_name(value: str) -> str:
    """Return an amended value, "" for one that is neither a number nor a word of ours."""
    return value if _PLAIN_VALUE.fullmatch(value) else ""


def _names(conn: Connection) -> set[str]:
    names = conn.scalars(select(tables.persons.c.name).distinct())
    return {plain_text(name) for name in names} - {""}


def _halls(conn: Connection) -> set[str]:
    """Return what halls are called; never looked for in exercises' names, nor word by word."""
    return {plain_text(name) for name in conn.scalars(select(tables.halls.c.name)) if name} - {""}
