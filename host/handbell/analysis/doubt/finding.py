"""What is suspicious about data: a finding, and what it puts in doubt."""

from __future__ import annotations

from dataclasses import dataclass

from handbell.coach.library.names import name_key
from handbell.store.results.effort import Effort
from handbell_core import timeline as t

CLASS_WIDE = ""

SIGNALS_MISSED = "signals-missed"
OFF_REMOTE = "off-remote"
GROUP_DAY = "group-day"
CLOCK_LOST = "clock-lost"
OF_BOX = (SIGNALS_MISSED, OFF_REMOTE)  # nothing to ask a person about


@dataclass(frozen=True)
class Finding:
    """Something that the coach should look at; ``bibs`` empty: it concerns a whole box.

    ``exercise`` is CLASS_WIDE when it concerns all that a bib did. With ``runs`` only what those
    boxes counted is in doubt, with ``until_ms`` only what began before that ``class_ms``, with
    ``since_ms`` only what ended after that one.
    """

    name: str
    bibs: tuple[int, ...]
    station: int
    exercise: str
    evidence: str
    runs: tuple[int, ...] = ()
    until_ms: int | None = None
    since_ms: int = -1

    def spoils(self, effort: Effort) -> bool:
        """Whether the numbers of an effort are in doubt by it; it has none if nobody was to tap."""
        return (
            effort.tap != t.TAP_NONE
            and effort.bib in self.bibs
            and (self.exercise == CLASS_WIDE or name_key(self.exercise) == name_key(effort.name))
            and (not self.runs or effort.run in self.runs)
            and (self.until_ms is None or effort.start_ms < self.until_ms)
            and effort.end_ms > self.since_ms
        )
