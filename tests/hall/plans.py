"""Random timelines that a plan could compile to, of every kind of span and way to tap."""

from __future__ import annotations

import random

from handbell_core.timeline import (
    ASK_HOLD,
    ASK_OPEN,
    ASK_TARGET,
    BOTH_SIDES,
    BREAK,
    CHANGE,
    COOL_DOWN,
    GATE,
    LAST_WINDOW,
    LEAD_IN,
    RATING,
    REST,
    TAKES_TALLY,
    TAP_DROP,
    TAP_EACH,
    TAP_EVERY,
    TAP_FINISH,
    TAP_NONE,
    TAP_TALLY,
    WARM_UP,
    WINDOW,
    Span,
)
from made import handed, own, span

WAYS = {
    ASK_OPEN: (TAP_EACH, TAP_EACH, TAP_EVERY, TAP_NONE),
    ASK_TARGET: (TAP_EACH, TAP_EACH, TAP_EVERY, TAP_FINISH, TAP_NONE),
    ASK_HOLD: (TAP_DROP, TAP_DROP, TAP_NONE),
}
BIBS = (7, 8, 31, 402)
RELAY_BIBS = (7, 8, 31, 402, 9, 10, 11, 512)


class Plan:
    """How the spans of one class are made; ``spans(box)`` makes fresh ones for a box."""

    def __init__(self, seed: str) -> None:
        dice = random.Random(f"{seed} plan")
        self.seed = seed
        self.grid_s = dice.choice((5, 10, 15, 30, 60, 300))
        self.count_s = dice.choice((0, 0, 0, 3, 5, 10))
        self.buttons = dice.randint(1, 4)
        self.bibs = [BIBS[n] if n < self.buttons else 0 for n in range(4)]
        if dice.random() < 0.2:
            self.bibs[dice.randrange(self.buttons)] = 0
        if not any(self.bibs):
            self.bibs[0] = BIBS[0]
        self.windows = dice.choice((1, 2, 2, 3, 4, 6))
        self.longest_s = dice.choice((8, 15, 15, 40, 120))
        self.rates = dice.random() < 0.6
        self.begins = dice.choice(("lead-in", "lead-in", "warm-up", "gate", "none"))
        self.ends = dice.random() < 0.3

    def spans(self, box: int = 0) -> list[Span]:
        """Return the class's spans: the times are every box's, who is asked for what is its own."""
        times = random.Random(f"{self.seed} times")
        tasks = random.Random(f"{self.seed} tasks {box}")
        out = []
        if self.begins != "none":
            out.append(span(LEAD_IN, times.choice((3, 5, 10)) * 1000))
        if self.begins == "warm-up":
            out.append(span(WARM_UP, times.randint(3, 30) * 1000))
        if self.begins == "gate":
            out.append(span(GATE, 0))
        for number in range(1, self.windows + 1):
            out += self._window(times, tasks, number == self.windows)
        if self.ends:
            out.append(span(COOL_DOWN, times.choice((3, 4, 20)) * 1000))
        if self.rates:
            out.append(span(RATING, times.choice((10, 30, 60)) * 1000, bib=list(self.bibs)))
        return out

    def _window(self, times: random.Random, tasks: random.Random, is_last: bool) -> list[Span]:
        tally = times.random() < 0.2
        length_ms = times.randint(50, self.longest_s * 10) * 100
        sides = BOTH_SIDES if times.random() < 0.2 else 0
        ask, tap, every, goal = self._task(tasks, tally)
        flags = sides | (LAST_WINDOW if is_last else 0)
        one = span(
            WINDOW, length_ms, ask=ask, tap=tap, every=every, goal=goal, flags=flags, name=2,
            bib=list(self.bibs),
        )  # fmt: skip
        if not tally:
            for slot in range(self.buttons):
                if self.bibs[slot] and tasks.random() < 0.25:
                    own(one, slot, *self._task(tasks, False))
            self._relay(one, f"{times.getstate()[1][-1]} {length_ms} {is_last}")
        out = [one]
        after_s = times.choice((0, 0, 3, 5, 8, 20))
        if tally:
            length_ms = times.randint(100, 200) * 100
            out.append(self._between(times.choice((REST, CHANGE, BREAK)), length_ms, TAKES_TALLY))
        elif after_s:
            out.append(self._between(times.choice((REST, CHANGE, BREAK)), after_s * 1000, 0))
        if times.random() < 0.2 and not is_last:
            out.append(span(GATE, 0))
        return out

    def _relay(self, one: Span, which: str) -> None:
        """Let a tap hand over in some windows, by dice of their own."""
        dice = random.Random(f"{self.seed} relay {which}")
        if dice.random() < 0.15:
            people = dice.sample(RELAY_BIBS, dice.choice((1, 2, 2, 3, 5, 8)))
            one.own = [None] * 4
            one.ask, one.every, one.goal = ASK_OPEN, 1, 0
            handed(one, people, (2,) * dice.choice((1, 2, 3)))

    def _between(self, kind: int, length_ms: int, flags: int) -> Span:
        return span(kind, length_ms, flags=flags, bib=list(self.bibs))

    def _task(self, tasks: random.Random, tally: bool) -> tuple[int, int, int, int]:
        ask = tasks.choice((ASK_OPEN, ASK_TARGET)) if tally else tasks.randint(ASK_OPEN, ASK_HOLD)
        tap = TAP_TALLY if tally else tasks.choice(WAYS[ask])
        every = tasks.choice((2, 3, 5)) if tap == TAP_EVERY else 1
        goal = 0
        if ask == ASK_TARGET:
            goal = tasks.randint(1, 12)
        elif ask == ASK_OPEN:
            goal = tasks.choice((0, 0, 4, 9))
        return ask, tap, every, goal

    def __str__(self) -> str:
        return (
            f"{self.windows} windows of up to {self.longest_s} s, {self.buttons} buttons, "
            f"bibs {self.bibs}, grid {self.grid_s} s, count {self.count_s} s"
        )
