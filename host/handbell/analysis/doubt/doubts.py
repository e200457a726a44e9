"""Whose numbers are in doubt, over many classes: those are marked, and in no trend."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence

from handbell.coach.library.shelf import Library
from handbell.store import Store
from handbell.store.logs.courses import courses_of_class
from handbell.store.results.sums import ExerciseSums

from ..past.history import Attended, PastClass
from ..past.taps import taps_of
from .finding import Finding
from .off_remote import off_remote
from .suspicion import findings_of

Doubtful = Callable[[PastClass, Attended, ExerciseSums], bool]


def nothing_doubtful(past: PastClass, who: Attended, sums: ExerciseSums) -> bool:
    """Take all numbers for what they look like."""
    return False


class Doubts:
    """What is suspicious about some classes, oldest first: each is read as a whole, once."""

    def __init__(self, store: Store, classes: Sequence[PastClass], library: Library) -> None:
        self._store = store
        self._classes = classes
        self._library = library
        self._found: dict[int, list[Finding]] = {}

    def of(self, needed: Collection[int]) -> dict[int, list[Finding]]:
        """Return the findings of the needed classes, by id."""
        for n, one in enumerate(self._classes):
            if one.row.id in needed and one.row.id not in self._found:
                self._found[one.row.id] = self._look(one, self._classes[:n])
        return {n: some for n, some in self._found.items() if n in needed}

    def _look(self, one: PastClass, before: Sequence[PastClass]) -> list[Finding]:
        taps = taps_of(self._store, one.row.id)
        courses = courses_of_class(self._store, one.row.id)
        return findings_of(one, taps, self._library, before) + off_remote(one, courses)


def doubtful_by(findings: Mapping[int, Sequence[Finding]]) -> Doubtful:
    """Return what says whether somebody's numbers in an exercise are spoilt by a finding."""

    def doubtful(past: PastClass, who: Attended, sums: ExerciseSums) -> bool:
        own = [f for f in findings.get(past.row.id, ()) if who.bib in f.bibs]
        return bool(own) and any(
            f.spoils(e)
            for e in who.efforts
            if (e.block, e.item, e.name, e.ask) == (sums.block, sums.item, sums.name, sums.ask)
            for f in own
        )

    return doubtful
