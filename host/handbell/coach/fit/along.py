"""One step along the ladder for a whole plan: which exercises do, and how their reps compare."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction

from handbell.coach.library.entry import IMPACTS, Entry
from handbell.coach.library.names import name_key
from handbell.coach.library.shelf import Library
from handbell.coach.swap.floor import Floor
from handbell.coach.swap.rank import EVERYWHERE, Surroundings, Wish, choices
from handbell.coach.writing.edit import Written

EASIER, HARDER = "easier", "harder"
_REASON = {EASIER: "too-hard", HARDER: "too-easy"}


class Along:
    """The way through the library for one plan: no new kit, no new skill, no harder landings."""

    def __init__(self, library: Library, floor: Floor, way: str) -> None:
        self.library = library
        self.way = way
        self._floor = floor
        kit = floor.around(()).kit | EVERYWHERE
        if library.kit is not None:
            kit = frozenset(map(name_key, library.kit))
        self._wish = Wish(_REASON[way], kit=kit)
        self._kit = kit

    def next_to(
        self, old: Entry, places: Sequence[Written], bibs: Sequence[int] = ()
    ) -> list[Entry]:
        """Return the next exercises on the ladder that will do, nearest first.

        ``places`` are where the plan has it, or where single ``bibs`` do it as their own task.
        """
        links = self.library.easier(old) if self.way == EASIER else self.library.harder(old)
        near = {entry.id for entry in links}
        around = self._floor.around(places, bibs)
        if bibs:
            around = Surroundings(kit=self._kit, apart=around.apart)
        found = (choice.entry for choice in choices(self.library, old, self._wish, around))
        return [
            entry
            for entry in found
            if entry.id in near and not around.beside(entry) and self._does(entry, old)
        ]

    def _does(self, entry: Entry, old: Entry) -> bool:
        lands_softer = IMPACTS.index(entry.impact) <= IMPACTS.index(old.impact)
        same_kind = entry.is_hold is old.is_hold and (entry.sides == "one") is (old.sides == "one")
        loads_no_more = self.way == HARDER or (
            entry.loads_known and set(entry.bears) <= set(old.bears)
        )
        known = not entry.skill or (old.skill and self.way == EASIER)
        return same_kind and lands_softer and loads_no_more and known

    def lever(self, entry: Entry | None) -> str:
        """Return what makes an exercise easier or harder without another one, or nothing."""
        said = re.split(r"(?<=[.;])\s+", entry.lever) if entry else []
        words = "; ".join(part.rstrip(".;") for part in said if self.way in part)
        return f"{words[0].upper()}{words[1:]}." if words else ""


def share_of(old: Entry | None, new: Entry | None) -> Fraction:
    """Return how many of a new exercise's reps take as long as one of the old, at most one.

    By the middles of the library's ranges; one where it says none.
    """
    if old is None or new is None or old.reps_30s is None or new.reps_30s is None:
        return Fraction(1)
    return min(Fraction(1), Fraction(sum(new.reps_30s), sum(old.reps_30s)))
