"""What all boxes of a class agree on, whatever carries it: if it stands, runs or is over, and when.

A remote numbers its acts. An act is the whole state from an instant on, never a change of what was
before; the highest number wins. So who heard the last act before its instant agrees from then on
with everybody who did, whatever else each of them missed, and in whatever order it came.
"""

from .states import NEVER

# What a class does. NOTHING: no act was heard, and it goes by its own clock, plan and buttons.
NOTHING, STANDS, RUNS, OVER = range(4)
COMING_MOST = 4


class Act:
    """From ``at_ms`` (run time) on the class is at ``class_ms``, and stands, runs or is over."""

    def __init__(self, number: int, what: int, class_ms: int, at_ms: int) -> None:
        self.number = number
        self.what = what
        self.class_ms = class_ms
        self.at_ms = at_ms

    def class_ms_at(self, run_ms: int) -> int:
        """Return ``class_ms`` at a run time from its instant on, gates left out of account."""
        return self.class_ms + (run_ms - self.at_ms if self.what == RUNS else 0)

    def as_it_is(self, run_ms: int, gate_ms: int) -> "Act":
        """Return the same act as it stands at ``run_ms``, if it is in force by then.

        A class that has come to a gate (``gate_ms``, the first one after its ``class_ms``) stands
        there: to say that it runs from there on would be to say that the gate is passed.
        """
        if run_ms <= self.at_ms:
            return self
        class_ms = self.class_ms_at(run_ms)
        if self.what == RUNS and class_ms >= gate_ms:
            return Act(self.number, STANDS, gate_ms, run_ms)
        return Act(self.number, self.what, class_ms, run_ms)


class Agreement:
    """The act in force, and those whose instant is still to come."""

    def __init__(self) -> None:
        self.number = 0  # the highest that was heard; a remote begins with 1
        self.now = Act(0, NOTHING, 0, -NEVER)
        self._coming: "tuple[Act, ...]" = ()

    @property
    def next(self) -> "Act | None":
        """The act that comes into force next, None if none is coming."""
        return self._coming[0] if self._coming else None

    @property
    def newest(self) -> "Act":
        """The act of the highest number, in force or coming."""
        return self._coming[-1] if self._coming else self.now

    @property
    def due_ms(self) -> int:
        """The run time at which the next act comes into force, NEVER if none is coming."""
        return self._coming[0].at_ms if self._coming else NEVER

    def hear(self, act: Act) -> bool:
        """Take an act that was heard; False if it is old, or the class is over for good."""
        if act.number <= self.number or self.now.what == OVER:
            return False
        self.number = act.number
        # What was to come later than this is called off, and where the class was to run from, if
        # this says from where; what else comes before it still does.
        earlier = tuple([one for one in self._coming if _still_comes(one, act)])
        self._coming = earlier[1 - COMING_MOST :] + (act,)  # noqa: RUF005 - MicroPython has no such *
        return True

    def forget(self) -> None:
        """Nothing comes any more: the class is over."""
        self._coming = ()

    def step(self, run_ms: int) -> bool:
        """Let what is due come into force; return whether anything did."""
        changed = False
        while self._coming and self._coming[0].at_ms <= run_ms:
            self.now = self._coming[0]
            self._coming = () if self.now.what == OVER else self._coming[1:]
            changed = True
        return changed

    def live_on(self, later_ms: int) -> None:
        """Live on another clock, whose run time is ``later_ms`` ahead."""
        for act in (self.now,) + self._coming:  # noqa: RUF005 - MicroPython has no such *
            act.at_ms += later_ms

    def class_ms(self, run_ms: int, gate_ms: int) -> int:
        """Return ``class_ms`` by the act in force; a class that runs stops at its next gate.

        ``gate_ms`` is the first gate (or end) after the act's ``class_ms``: one that lies at it has
        been passed, since who goes on at a gate leaves it.
        """
        class_ms = self.now.class_ms_at(run_ms)
        return min(class_ms, gate_ms) if self.now.what == RUNS else class_ms


def _still_comes(one: Act, newer: Act) -> bool:
    """Whether an act still comes after a newer one was heard: before it, and not in its place.

    Two that let the class run are one word that was put off, or meant otherwise: who went by both
    would begin twice, and not be ready for the second.
    """
    return one.at_ms < newer.at_ms and not (one.what == newer.what == RUNS)
