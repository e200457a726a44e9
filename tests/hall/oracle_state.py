"""What the oracle remembers: presses, pages of the choices, and what a box is to have done."""

from __future__ import annotations

from dataclasses import dataclass, field

from oracle_taps import Count, Relay

HOLD_MS = 1_500
HOLD_KNOWN_MS = 1_530
LONG_MS = 5_000
LONG_KNOWN_MS = 5_030
PAGE_MS = 8_000
DOOR_WAITS_MS = 3_000  # after the first hold was let go
PAGE_WAITS_MS = 1_700  # after the beginning of a press that means the page
SURE_WAITS_MS = 5_200  # the same on the last question, which takes a press of 5 s
PRESS_KNOWN_MS = 4
CLOSES_MS = 60  # after the class, when every press begun in it is known
AGAIN_MS = 5_000  # a start by hand waits so long for its second hold
UNSETTLED_MS = 40  # a release just before may not be known yet
DOOR, LIST, SURE = "door", "list", "sure"
CARRY_ON, SKIP, WAIT, STOP = range(4)


@dataclass
class Page:
    """A page of the choices."""

    kind: str
    slot: int
    closes_ms: int
    choice: int = CARRY_ON
    is_early: bool = False  # it may have opened, and so close, up to 30 ms later
    opened_by: Press | None = None
    steps: list[tuple[Press, Count | Relay]] = field(default_factory=list)
    opened_tally: bool = False  # the first of them did, which had been confirmed


@dataclass
class Press:
    """A press, and where it began: state, span, window."""

    slot: int
    at_ms: int
    state: str
    index: int
    window: int  # the window it acts on, 0 for none
    class_ms: int
    page: Page | None
    known: bool = False  # its meaning is: it became a hold, or ended
    known_long: bool = False
    took_back: Count | None = None
    is_first: bool = False  # the first hold of a start by hand


@dataclass
class WantedTap:
    """A tap as the journal is to tell it; one that isn't ``due`` may be missing."""

    slot: int
    window: int
    class_ms: int
    held_ms: int
    bib: int
    counts: bool
    outside: bool
    in_tally: bool
    due: bool
    at_ms: int

    def __str__(self) -> str:
        kind = "counts" if self.counts else "outside" if self.outside else "extra"
        return (
            f"tap by button {self.slot} at class {self.class_ms} ms, window {self.window}, {kind}"
        )


@dataclass
class Wanted:
    """What a box must have rung, kept and been, each with its run time."""

    bells: list[tuple[int, int]] = field(default_factory=list)
    taps: list[WantedTap] = field(default_factory=list)
    told: list[tuple[int, str, int, int]] = field(default_factory=list)  # ms, what, slot, window
    ratings: list[tuple[int, int, int]] = field(default_factory=list)  # ms, bib, rating
    states: list[tuple[int, str]] = field(default_factory=lambda: [(-(1 << 40), "ready")])
    pages: list[tuple[int, str, int]] = field(default_factory=lambda: [(-(1 << 40), "", 0)])
    starts: list[tuple[int, int]] = field(default_factory=list)  # run time, class_ms
    ended: tuple[str, int] | None = None  # cause, run time
    ended_class_ms: int = 0
    unclear_ms: int = 1 << 40
    unclear: str = ""
