"""Marks of the grid: the common instants at which hand starts and gates take effect.

Somebody presses box after box, and each box goes on at the next mark. Boxes pressed before and
after a mark's last moment take different marks, and ring whole steps apart from then on.
"""

from __future__ import annotations

from dataclasses import dataclass

WALK_S = 5  # from one box to the next and to hold it: an assumption, no measurement
NEARLY_ALL = 0.95


@dataclass(frozen=True)
class Walk:
    """A walk past so many boxes, each pressed once, with marks every ``grid_s``."""

    boxes: int
    grid_s: int
    box_s: float = WALK_S

    @property
    def takes_s(self) -> float:
        """How long it is from the first press to the last."""
        return max(0, self.boxes - 1) * self.box_s

    @property
    def chance(self) -> float:
        """How likely not every box takes the same mark: min(1, walk / grid).

        A box takes the first mark that is at least a lead ahead of its press. So the mark changes
        at instants that come every ``grid_s``, a lead before each mark. The first press is at t,
        the last at t + walk, and all take one mark unless such an instant lies between the two.
        Begun at a random moment, t is uniform over a step of the grid; an instant lies between for
        the share walk / grid of all t, and for every t once the walk is as long as a step. The
        lead only shifts the instants, so it is not in it.
        """
        return min(1.0, self.takes_s / self.grid_s)

    @property
    def apart_most_s(self) -> int:
        """How far apart the first and the last box ring at most: a walk meets so many instants."""
        return int(-(-self.takes_s // self.grid_s)) * self.grid_s

    def facts(self) -> dict[str, float]:
        """Return it for machines."""
        return {
            "walk_s": self.takes_s,
            "grid_s": self.grid_s,
            "chance": round(self.chance, 3),
            "apart_most_s": self.apart_most_s,
        }

    def words(self) -> str:
        """Return it as sentences for a coach, "" where boxes can't part."""
        if self.boxes < 2:
            return ""
        later = "the next mark and ring" if self.chance < 1 else "a later mark and ring up to"
        return (
            f"{self.box_s:g} s a box: {self.boxes} boxes take {self.takes_s:g} s to press; marks "
            f"are {self.grid_s} s apart: {self._often()} some boxes take {later} "
            f"{self.apart_most_s} s later. Press all within one step, and look at every screen "
            "for the same count."
        )

    def _often(self) -> str:
        if self.chance >= 1:
            return "every time"
        if self.chance >= NEARLY_ALL:
            return "nearly every time"
        if self.chance < 0.1:
            return f"about 1 time in {round(1 / self.chance)}"
        tenths = round(self.chance * 10)
        return f"about {tenths} {'time' if tenths == 1 else 'times'} in 10"
