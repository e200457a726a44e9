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


def findings_over(
    store: Store, classes: Sequence[PastClass], library: Library, needed: Collection[int]
) -> dict[int, list[Finding]]:
    """Return the findings of some classes by id; ``classes`` are all there are, oldest first.

    Each of them is read as a whole for it.
    """
    return {
        one.row.id: findings_of(one, taps_of(store, one.row.id), library, classes[:n])
        + off_remote(one, courses_of_class(store, one.row.id))
        for n, one in enumerate(classes)
        if one.row.id in needed
    }


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
