"""Advice for one person and one exercise: harder, same, easier or swap, by a named rule.

What somebody did comes as a ``Case``, made of their classes; ``advise`` tries the rules in a fixed
order and gives the first that speaks, with its evidence. Nothing here judges pain or illness.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from handbell.coach.library.names import name_key

PROFESSIONAL = (
    "If it hurts, or they are unwell, that is for a qualified health professional and not for "
    "a number"
)


class Verdict(Enum):
    """What to do with an exercise next time."""

    HARDER = "harder"
    SAME = "same"
    EASIER = "easier"
    SWAP = "swap"


@dataclass(frozen=True)
class Try:
    """One window of one person. Lengths in ms; None where nobody can know.

    ``reps`` is the least that was done and ``reps_most`` the most that the way of tapping allows:
    with ``every`` up to n - 1 reps go untapped. ``read`` False: the window can't be judged;
    ``skipped`` it was taken out at the box.
    """

    round: int
    window_ms: int
    goal: int
    reps: int | None = None
    reps_most: int | None = None
    rest_ms: int | None = None
    held_ms: int | None = None
    read: bool = True
    skipped: bool = False

    @property
    def made(self) -> bool | None:
        """Whether the goal was reached; None: can't be said, or there is none."""
        if not self.read or not self.goal or self.reps is None:
            return None
        return self.reps >= self.goal

    @property
    def short(self) -> int:
        """How many reps are missing for certain."""
        return max(0, self.goal - (self.reps_most or 0)) if self.made is False else 0


@dataclass(frozen=True)
class Session:
    """One person's rounds of one exercise in one class.

    ``name`` is the variation that was done; ``ask`` and ``tap`` are the timeline's; ``rating`` is
    of the whole class, None for no answer.
    """

    class_id: int
    name: str
    ask: int
    tap: int
    tries: tuple[Try, ...]
    rating: int | None = None
    both_sides: bool = False

    @property
    def task(self) -> tuple[object, ...]:
        """What was asked; two sessions can be held against each other only if it is the same."""
        asked = tuple((e.round, e.window_ms, e.goal) for e in self.tries)
        return name_key(self.name), self.ask, self.both_sides, asked

    @property
    def goals(self) -> tuple[int, ...]:
        """The target or goal of each round."""
        return tuple(e.goal for e in self.tries)

    @property
    def read(self) -> bool:
        """Whether every window can be judged."""
        return bool(self.tries) and all(e.read for e in self.tries)


@dataclass(frozen=True)
class Flatness:
    """That the numbers of a task hardly moved: over how many classes and weeks, and by how much."""

    classes: int
    change_percent: float
    score: str
    weeks: float


@dataclass(frozen=True)
class Case:
    """All that is known of one person in one exercise, sessions oldest first.

    ``block`` and ``item`` say where it stood in the last class, from 1. ``doubts`` are findings on
    the data of the classes that the rules look at.
    """

    who: str
    bib: int
    block: int
    item: int
    sessions: tuple[Session, ...]
    flat: Flatness | None = None
    doubts: tuple[str, ...] = ()

    @property
    def last(self) -> Session:
        """The newest."""
        return self.sessions[-1]

    def alike(self, count: int) -> Sequence[Session] | None:
        """Return the last ``count`` sessions, None if there are fewer or their task differs."""
        last = self.sessions[-count:]
        if len(last) < count or any(s.task != self.last.task for s in last):
            return None
        return last


@dataclass(frozen=True)
class Ruling:
    """What a rule says. ``why`` is one line of evidence, ``talk`` what to ask the person first.

    ``late_goals`` are reps that were within reach in each round, where only some are to change.
    """

    verdict: Verdict
    rule: str
    why: str
    talk: str = ""
    late_goals: tuple[int, ...] = ()
