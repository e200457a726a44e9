"""What taps add up to, by docs/engineers/plan-file.md ("How people tap") and docs/engineers/formats.md (results)."""

from __future__ import annotations

from dataclasses import dataclass, field

from handbell_core.timeline import (
    ASK_HOLD,
    ASK_OPEN,
    ASK_TARGET,
    TAP_DROP,
    TAP_EACH,
    TAP_EVERY,
    TAP_FINISH,
    TAP_NONE,
    TAP_TALLY,
)

SOON_MS = 3_000
LEGS = 16
LIVE = (TAP_EACH, TAP_EVERY, TAP_FINISH, TAP_DROP)
TO_THE_END = 0xFFFF
ASKED, SKIPPED, STOPPED, UNCONFIRMED = 1, 2, 4, 8


class Relay:
    """A window in which a tap hands over; ``counts`` are the people's, in their order.

    docs/engineers/forms.md: everybody has a leg before anybody has another; a tap within 3 s of the
    last hand-over, or of the beginning, is none.
    """

    def __init__(self, people, start_ms: int) -> None:
        self.counts = [LegCount(bib, ASK_OPEN, TAP_EACH, 1, 0, start_ms) for bib in people]
        self.ends_ms = [start_ms]
        self.place = 0  # whose legs have changed last

    def since_ms(self, class_ms: int) -> int:
        """How long the present leg has lasted."""
        return class_ms - self.ends_ms[-1]

    def tap(self, class_ms: int) -> bool:
        """Hand over; False when it is too soon, or the window is left out."""
        if self.counts[0].skipped or self.since_ms(class_ms) < SOON_MS:
            return False
        self.place = (len(self.ends_ms) - 1) % len(self.counts)
        self.counts[self.place].taps.append(class_ms)
        self.ends_ms.append(class_ms)
        return True

    def back(self) -> bool:
        """Take the last hand-over back; False when there is none."""
        if self.counts[0].skipped or len(self.ends_ms) == 1:
            return False
        self.ends_ms.pop()
        self.place = (len(self.ends_ms) - 1) % len(self.counts)
        self.counts[self.place].taps.pop()
        return True


@dataclass
class Count:
    """One bib in one window; ``taps`` are the ``class_ms`` of the taps that count."""

    bib: int
    ask: int
    rule: int
    every: int
    goal: int
    start_ms: int
    taps: list[int] = field(default_factory=list)
    confirmed: bool = False
    skipped: bool = False
    stopped: bool = False
    stop_may_show: bool = False
    undone_ms: int = -1

    @property
    def asked(self) -> bool:
        """Somebody is to tap here."""
        return self.bib != 0 and self.rule != TAP_NONE

    @property
    def taps_needed(self) -> int:
        """How many taps make the target or goal; 0 without one."""
        if self.rule == TAP_FINISH:
            return 1
        per_tap = self.every if self.rule == TAP_EVERY else 1
        return -(-self.goal // per_tap)

    @property
    def is_full(self) -> bool:
        """One more tap would say nothing new."""
        if self.rule == TAP_DROP:
            return bool(self.taps)
        if self.rule == TAP_TALLY or self.ask != ASK_TARGET:
            return False
        return len(self.taps) >= self.taps_needed

    def tap(self, class_ms: int) -> bool:
        """Take a tap; False when it adds nothing."""
        if self.skipped or self.is_full:
            return False
        self.taps.append(class_ms)
        self.confirmed = False
        return True

    def back(self) -> bool:
        """Take the last tap back; False when there is none."""
        if self.skipped or not self.taps:
            return False
        self.undone_ms = self.taps.pop()
        return True

    def forth(self) -> None:
        """Withdraw the take-back."""
        self.taps.append(self.undone_ms)

    @property
    def reps(self) -> int:
        """What the taps stand for; a target stops at its number."""
        if self.ask == ASK_HOLD:
            return 0
        if self.rule == TAP_FINISH:
            return self.goal if self.taps else 0
        reps = len(self.taps) * (self.every if self.rule == TAP_EVERY else 1)
        return min(reps, self.goal) if self.ask == ASK_TARGET else reps

    @property
    def made_ms(self) -> int:
        """The ``class_ms`` at which the target or goal was reached, -1 if it wasn't or none knows."""
        if self.ask == ASK_HOLD or self.rule == TAP_TALLY or not self.goal:
            return -1
        needed = self.taps_needed
        return self.taps[needed - 1] if len(self.taps) >= needed else -1

    @property
    def held_ds(self) -> int:
        """Tenths of a second that a position was held."""
        if self.rule != TAP_DROP or not self.taps:
            return TO_THE_END
        return (self.taps[0] - self.start_ms) // 100

    @property
    def flags(self) -> int:
        """The result's flags."""
        unconfirmed = self.rule == TAP_TALLY and not self.confirmed
        return (
            (ASKED if self.asked else 0)
            | (SKIPPED if self.skipped else 0)
            | (STOPPED if self.stopped else 0)
            | (UNCONFIRMED if unconfirmed else 0)
        )


class LegCount(Count):
    """One person's legs in one window."""

    @property
    def flags(self) -> int:
        """The result's flags."""
        return super().flags | LEGS
