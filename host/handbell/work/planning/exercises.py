"""Searching the library of exercises."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from pathlib import Path

from handbell.base.errors import UsageError
from handbell.coach.library.entry import Entry
from handbell.coach.library.shelf import Library, load_library

_ASKED = ("loads", "easier", "harder")  # what the library works out


@dataclass(frozen=True)
class Neighbour:
    """An exercise a step up or down."""

    id: str
    name: str


@dataclass(frozen=True)
class Known:
    """An exercise of the library; docs/exercises.md says what each key means.

    ``kit`` has what is needed, each need met by any one of its items; ``reps_30s`` and ``hold_s``
    the least and the most that are usual, one of them None. ``loads`` are all parts that bear load,
    as far as known; where ``loads_known`` is False there may be more.
    """

    id: str
    name: str
    aliases: tuple[str, ...]
    pattern: str
    also: tuple[str, ...]
    level: int
    how: str
    kit: tuple[tuple[str, ...], ...]
    kit_words: str
    space: str
    impact: str
    sides: str
    position: str
    reps_30s: tuple[int, int] | None
    hold_s: tuple[int, int] | None
    taps: tuple[str, ...]
    tires: tuple[str, ...]
    does: tuple[str, ...]
    loads: tuple[str, ...]
    loads_known: bool
    skill: bool
    easier: tuple[Neighbour, ...]
    harder: tuple[Neighbour, ...]
    lever: str
    cautions: str


@dataclass(frozen=True)
class Found:
    """What a search found; ``named`` when the words name the only one, else names ``near`` them."""

    exercises: tuple[Known, ...]
    named: bool
    near: tuple[str, ...]


def exercises(
    words: Sequence[str] = (),
    pattern: str | None = None,
    without: Iterable[str] | None = None,
    own_library: Path | None = None,
) -> Found:
    """Return the exercises with all these words, of a pattern, that need no kit ``without``.

    Words that are the name of one find only that one. Raises HandbellError for kit that no exercise
    knows.
    """
    library = load_library(own_library)
    named = library.find(" ".join(words)) if words else None
    found = library.search(words, pattern, missing_kit(library, without))
    if named in found:
        found = [named]
    near = library.near(" ".join(words)) if words and not found else []
    return Found(tuple(_known(library, e) for e in found), named in found, tuple(near))


def kit_keys(library: Library, said: Iterable[str] | None) -> frozenset[str]:
    """Return kit by its keys; several may stand in one text, with commas."""
    items = (item.strip() for text in said or () for item in text.split(","))
    return frozenset(library.kit_key(item) for item in items if item)


def missing_kit(library: Library, said: Iterable[str] | None) -> frozenset[str]:
    """Return the kit that isn't there. Raises UsageError when it is asked for but not said."""
    keys = kit_keys(library, said)
    if said and not keys:
        raise UsageError("It is not said which kit is missing", "Add --without bench, or another")
    return keys


def _known(library: Library, e: Entry) -> Known:
    return Known(
        **{f.name: getattr(e, f.name) for f in fields(Known) if f.name not in _ASKED},
        loads=e.bears,
        easier=tuple(Neighbour(other.id, other.name) for other in library.easier(e)),
        harder=tuple(Neighbour(other.id, other.name) for other in library.harder(e)),
    )
