"""The library of exercises: those that come with Handbell, and the coach's own over them."""

from __future__ import annotations

import functools
from collections.abc import Iterable
from pathlib import Path

from handbell.base.errors import HandbellError, PlanError
from handbell.base.places import data_folder

from .entry import Entry, OwnFile
from .files import read_entries
from .ladder import Ladder, Steps
from .names import name_key, name_words, nearest

OWN_FILE = "exercises.toml"

Format = tuple[tuple[str, ...], ...]


class Library:
    """Exercises by id and by any of their names; raises PlanError, naming ``source``."""

    def __init__(self, entries: Iterable[Entry], head: OwnFile, source: str = "library") -> None:
        self.entries = {entry.id: entry for entry in entries}
        self._head, self._source = head, source
        self.format: Format = head.format
        self.kit = head.kit
        self._ladder = Ladder(self.entries)
        faults = list(self._ladder.faults)
        self._by_key: dict[str, Entry] = {}
        for entry in self.entries.values():
            for name in entry.names:
                other = self._by_key.setdefault(name_key(name), entry)
                if other is not entry:
                    faults.append(
                        f'exercise {entry.id}: "{name}" is a name of {other.id} already; '
                        "give it another"
                    )
        if faults:
            raise PlanError(source, faults)

    def find(self, name: str) -> Entry | None:
        """Return the exercise that a name means, whatever its capitals, hyphens and plural."""
        return self._by_key.get(name_key(name))

    def need(self, name: str) -> Entry:
        """Return the exercise that a name means; raises HandbellError with the nearest names."""
        entry = self.find(name)
        if entry is None:
            near = self.near(name)
            raise HandbellError(
                f'"{name}" is not in the library',
                f"Did you mean {', '.join(near)}?"
                if near
                else "Look with handbell exercises, or write it into a file of your own",
            )
        return entry

    def called_as(self, names: Iterable[str]) -> Library:
        """Return the library with exercises called as in a text: by the first name there is."""
        called: dict[str, str] = {}
        for name in names:
            if entry := self.find(name):
                called.setdefault(entry.id, name)
        if all(self.entries[id_].name == name for id_, name in called.items()):
            return self
        entries = (
            entry.model_copy(update={"name": called[id_], "aliases": entry.names})
            if id_ in called
            else entry
            for id_, entry in self.entries.items()
        )
        return Library(entries, self._head, self._source)

    def near(self, name: str) -> list[str]:
        """Return names of exercises that are written much like this one."""
        names = (name for entry in self.entries.values() for name in (entry.name, *entry.aliases))
        return nearest(name, names)

    def easier(self, entry: Entry) -> list[Entry]:
        """Return the next easier exercises on the ladder."""
        return [self.entries[id_] for id_ in self._ladder.easier[entry.id]]

    def harder(self, entry: Entry) -> list[Entry]:
        """Return the next harder exercises on the ladder."""
        return [self.entries[id_] for id_ in self._ladder.harder[entry.id]]

    def steps(self, entry: Entry) -> dict[str, Steps]:
        """Return the way along the ladder to every exercise that can be reached, by id."""
        return self._ladder.steps(entry.id)

    @functools.cached_property
    def kit_names(self) -> dict[str, str]:
        """Every kit that an exercise names, by its key."""
        named = (i for entry in self.entries.values() for need in entry.kit for i in need)
        return {name_key(item): item for item in (*named, *(self.kit or ()))}

    def kit_key(self, item: str) -> str:
        """Return the key of a kit; raises HandbellError when no exercise knows it.

        An exercise that is called as its kit, such as a machine, lends it its other names.
        """
        key = name_key(item)
        entry = self.find(item)
        if entry and [name_key(one) for need in entry.kit for one in need] == [
            name_key(entry.name)
        ]:
            key = name_key(entry.name)
        if key not in self.kit_names:
            near = nearest(item, self.kit_names.values()) or sorted(set(self.kit_names.values()))
            raise HandbellError(f'no exercise needs "{item}"', f"Known kit: {', '.join(near)}")
        return key

    def search(
        self, words: Iterable[str] = (), pattern: str | None = None, without: Iterable[str] = ()
    ) -> list[Entry]:
        """Return the exercises that hold all words and can be done without some kit (keys)."""
        wanted = [word for text in words for word in name_words(text)]
        missing = set(without)
        return [
            entry
            for entry in self.entries.values()
            if (pattern is None or pattern in entry.patterns)
            and all(any(name_key(i) not in missing for i in need) for need in entry.kit)
            and all(any(have.startswith(word) for have in _words_of(entry)) for word in wanted)
        ]


@functools.lru_cache(maxsize=512)
def _words_of(entry: Entry) -> frozenset[str]:
    kit = [item for need in entry.kit for item in need]
    texts = (*entry.names, *kit, *entry.tires, *entry.patterns, entry.position)
    return frozenset(key for text in texts for key in (*name_words(text), name_key(text)))


def load_library(own: Path | None = None) -> Library:
    """Return the library with the coach's own file over it.

    Without ``own``, ``exercises.toml`` in the user's data folder is used if it is there. Raises
    PlanError with every fault of the file.
    """
    if own is None:
        usual = data_folder() / OWN_FILE
        own = usual if usual.is_file() else None
    entries, head = read_entries(own)
    return Library(entries, head, str(own) if own else "the shipped library")
