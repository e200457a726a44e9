"""Modelled athletes: they read a box's timeline and press its buttons, as people do.

They react late, tire over rounds, bounce the contact, press once too often and take it back, run
out of breath before a target is made. What they did is kept as the truth to compare with.
"""

from __future__ import annotations

import io
import random
from dataclasses import dataclass, field

from handbell_core import timeline as tl

HOLD_MS = 1_700
TALLY_EVERY_MS = 290
FREE_REP_MS = 2_500  # a rep where nothing is asked for


@dataclass
class Athlete:
    """One person: ``pace`` when fresh, ``tires`` as the share it slows down each round.

    ``pace`` is the share of a window that its goal takes them: at 1.0 they are done with the bell.

    ``slips`` is how likely a rep is pressed twice and taken back; ``gives_up`` how likely a window
    ends early; ``hangs_on_s`` how long a position is kept; ``rating`` the answer after class,
    None for no answer.
    """

    bib: int
    pace: float = 0.8
    tires: float = 0.06
    slips: float = 0.0
    gives_up: float = 0.0
    hangs_on_s: float = 60.0
    rating: int | None = 6


@dataclass
class Truth:
    """What the athletes did at one box.

    ``reps`` and ``held_ms`` by (bib, window): reps as the way of tapping can tell them, and the
    time a position was kept (None: to the end). ``taps`` counts presses meant as taps, by bib;
    ``take_backs`` the holds that took one back; ``edges`` are (class_ms, slot, closed).
    """

    reps: dict[tuple[int, int], int] = field(default_factory=dict)
    held_ms: dict[tuple[int, int], int | None] = field(default_factory=dict)
    ratings: dict[int, int] = field(default_factory=dict)
    taps: dict[int, int] = field(default_factory=dict)
    take_backs: int = 0
    edges: list[tuple[float, int, bool]] = field(default_factory=list)


class Floor:
    """The athletes at one box during one class."""

    def __init__(self, data: bytes, athletes: list[Athlete], seed: int) -> None:
        self._reader = tl.Reader(io.BytesIO(data))
        self._athletes = {a.bib: a for a in athletes}
        self._rng = random.Random(seed)
        self.truth = Truth()

    def play(self) -> Truth:
        """Press through the whole timeline and return what was done."""
        head = self._reader.head
        spans = [self._reader.span(i, tl.Span()) for i in range(head.spans)]
        for span, after in zip(spans, [*spans[1:], None], strict=True):
            for slot, bib in enumerate(span.bib):
                athlete = self._athletes.get(bib)
                if athlete is None:
                    continue
                if span.kind == tl.WINDOW:
                    self._window(span, after, slot, athlete)
                elif span.kind == tl.RATING and athlete.rating is not None:
                    self._rate(span, slot, athlete, athlete.rating)
        self.truth.edges.sort()
        return self.truth

    def _rep_times(self, span: tl.Span, athlete: Athlete) -> list[int]:
        """Return when each rep of a window is done, in ms from its start."""
        rep_ms = (span.duration_ms - 1_200) / span.goal if span.goal else FREE_REP_MS
        pace = rep_ms * athlete.pace * (1 + athlete.tires * (span.round - 1))
        end = span.duration_ms - 400
        if self._rng.random() < athlete.gives_up:
            end = int(end * self._rng.uniform(0.35, 0.7))
        most = span.goal if span.ask == tl.ASK_TARGET else 10_000
        times: list[int] = []
        at = self._rng.uniform(500, 900)
        while len(times) < most:
            at += max(450, self._rng.gauss(pace, pace * 0.07) * (1 + 0.004 * len(times)))
            if at > end:
                break
            times.append(int(at))
        return times

    def _window(self, span: tl.Span, after: tl.Span | None, slot: int, athlete: Athlete) -> None:
        key = (athlete.bib, span.window)
        if span.ask == tl.ASK_HOLD:
            self._hold(span, slot, athlete)
            return
        times = self._rep_times(span, athlete)
        if span.tap in (tl.TAP_EACH, tl.TAP_EVERY):
            every = span.every if span.tap == tl.TAP_EVERY else 1
            taps = times[every - 1 :: every]
            if span.ask == tl.ASK_TARGET and len(times) == span.goal and span.goal % every:
                taps.append(times[-1])  # the last few reps get a tap of their own
            taps = self._press_each(span.start_ms, taps, slot, athlete)
            reps = len(taps) * every
            self.truth.reps[key] = min(reps, span.goal) if span.ask == tl.ASK_TARGET else reps
        elif span.tap == tl.TAP_FINISH:
            made = len(times) == span.goal
            if made:
                self._press_each(span.start_ms, times[-1:], slot, athlete, slips=False)
            self.truth.reps[key] = span.goal if made else 0
        elif span.tap == tl.TAP_TALLY and after is not None:
            self._tally(after, len(times), slot, athlete)
            self.truth.reps[key] = len(times)

    def _hold(self, span: tl.Span, slot: int, athlete: Athlete) -> None:
        key = (athlete.bib, span.window)
        self.truth.reps[key] = 0
        self.truth.held_ms[key] = None
        lasts_ms = int(athlete.hangs_on_s * 1000 * (1 - athlete.tires * (span.round - 1)))
        if span.tap == tl.TAP_DROP and lasts_ms < span.duration_ms - 500:
            self._tap(span.start_ms + lasts_ms, slot, athlete.bib)
            self.truth.held_ms[key] = lasts_ms

    def _press_each(
        self, start_ms: int, times: list[int], slot: int, athlete: Athlete, slips: bool = True
    ) -> list[int]:
        """Tap at each time; a slip is a tap too many, taken back before the next rep."""
        done = []
        for n, at in enumerate(times):
            self._tap(start_ms + at, slot, athlete.bib)
            done.append(at)
            room = times[n + 1] - at if n + 1 < len(times) else 0
            if slips and room > HOLD_MS + 1_100 and self._rng.random() < athlete.slips:
                self._tap(start_ms + at + 320, slot, athlete.bib)
                self._contact(start_ms + at + 750, HOLD_MS, slot)
                self.truth.take_backs += 1
        return done

    def _tally(self, span: tl.Span, reps: int, slot: int, athlete: Athlete) -> None:
        at = span.start_ms + 900
        for _ in range(reps):
            self._tap(at, slot, athlete.bib)
            at += TALLY_EVERY_MS
        self._contact(at + 200, HOLD_MS, slot)

    def _rate(self, span: tl.Span, slot: int, athlete: Athlete, rating: int) -> None:
        at = span.start_ms + 2_000
        for _ in range(rating or 11):
            self._contact(at, 110, slot)
            at += 330
        self.truth.ratings[athlete.bib] = rating

    def _tap(self, class_ms: float, slot: int, bib: int) -> None:
        self._contact(class_ms, self._rng.uniform(90, 170), slot)
        self.truth.taps[bib] = self.truth.taps.get(bib, 0) + 1

    def _contact(self, class_ms: float, held_ms: float, slot: int) -> None:
        """Close and open the contact, with bounce at both ends."""
        edges = self.truth.edges
        for begin, closed in ((class_ms, True), (class_ms + held_ms, False)):
            at = begin
            for _ in range(self._rng.randrange(4)):
                edges.append((at, slot, closed))
                edges.append((at + self._rng.uniform(0.1, 0.5), slot, not closed))
                at += self._rng.uniform(0.6, 1.4)
            edges.append((at, slot, closed))
