"""What a class gives reason for: who to talk to, what to change, and what its data is worth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from handbell.analysis.advising import advise_last
from handbell.analysis.doubt.doubts import Doubts
from handbell.analysis.doubt.finding import Finding
from handbell.analysis.lately import lately_of
from handbell.analysis.past.history import PastClass
from handbell.base.errors import HandbellError
from handbell.coach.advice.limits import load_limits
from handbell.coach.library.shelf import load_library
from handbell.store import Store

from .advised import Advised, advised_of
from .one_list import Listed, one_list


@dataclass(frozen=True)
class AfterClass:
    """All of it; ``findings`` are of that class alone."""

    listed: tuple[Listed, ...]
    advised: Advised
    findings: tuple[Finding, ...]


def after_class(store: Store, classes: Sequence[PastClass]) -> AfterClass:
    """Return what the last of some classes gives reason for, oldest first.

    Those of ``advising.WEEKS`` before it should be there.
    """
    try:
        library, limits = load_library(), load_limits()
    except HandbellError as error:  # in the coach's own files: the report stands without them
        return AfterClass((), Advised((), f"There is no advice: {error}"), ())
    doubts = Doubts(store, classes, library)
    found = advise_last(store, classes, library, limits, doubts)
    lately = lately_of(classes[-1:], doubts.of, 1)
    return AfterClass(one_list(lately, found.advices, limits), advised_of(found), found.findings)
