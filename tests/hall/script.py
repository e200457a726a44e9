"""What happens in one class, drawn from a seed: gestures, host acts, faults, on every box.

Times are ms of true time since the boxes were sent their plan.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace

from plans import Plan

TAP, HOLD, LONG = "tap", "hold", "long"
STUCK_MS = 40_000


@dataclass(frozen=True)
class Step:
    """One thing that happens on a box; ``a`` and ``b`` are what it needs."""

    at_ms: int
    what: str  # press, arm, disarm, fail, fail once
    a: int = 0
    b: int = 0

    def __str__(self) -> str:
        texts = {
            "press": f"button {self.a} held for {self.b} ms",
            "arm": f"the host sets the start to {self.a} ms",
            "disarm": "the host takes the start back",
            "fail": f"reads of the timeline fail for {self.a} ms",
            "fail once": f"the {self.a}. read of the timeline fails",
        }
        return f"{self.at_ms:>7} ms: {texts[self.what]}"


@dataclass(frozen=True)
class BoxScript:
    """What happens on one box, and how that box is made."""

    number: int
    has_clock: bool
    ppm: int
    tick_origin: int
    late_share: float  # of wakes that come late
    gate_ms: tuple[int, ...]  # how long people wait at the gates
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class Script:
    """One class."""

    seed: str
    plan: Plan
    boxes: tuple[BoxScript, ...]
    ends_ms: int = field(default=0)

    def lines(self) -> list[str]:
        """Return the class as text, one line a step."""
        out = [f"class {self.seed}: {self.plan}"]
        for box in self.boxes:
            clock = "a clock" if box.has_clock else "no clock"
            out.append(f"box {box.number}, {clock}, crystal {box.ppm} ppm, tick {box.tick_origin}")
            out += [f"  {step}" for step in box.steps]
        return out

    def without(self, box: int, steps: set[int]) -> Script:
        """Return this class without some steps of a box."""
        boxes = list(self.boxes)
        kept = tuple(s for n, s in enumerate(boxes[box].steps) if n not in steps)
        boxes[box] = replace(boxes[box], steps=kept)
        return replace(self, boxes=tuple(boxes))


def held_ms(dice: random.Random, kind: str) -> int:
    """Return how long a press of a kind lasts."""
    if kind == TAP:
        return dice.choice((40, 120, 120, 300, dice.randint(30, 1_498), 1_498))
    if kind == HOLD:
        return dice.choice((1_540, 1_600, 1_700, dice.randint(1_531, 4_900)))
    return dice.choice((5_010, 5_300, 6_000, dice.randint(5_010, 12_000)))


def people(dice: random.Random, slots: int, until_ms: int, pace: float) -> list[Step]:
    """Return what people do at a box's buttons: bursts of taps, holds, leans, choices."""
    out: list[Step] = []
    at_ms = dice.randint(0, 4_000)

    def add(kind: str, slot: int, pause_ms: int) -> None:
        nonlocal at_ms
        lasts_ms = held_ms(dice, kind)
        out.append(Step(at_ms, "press", slot, lasts_ms))
        at_ms += lasts_ms + pause_ms

    while at_ms < until_ms:
        slot = dice.randrange(slots)
        turn = dice.random()
        if turn < 0.55:
            for _ in range(dice.randint(1, 12)):
                add(TAP, slot, dice.randint(110, 900))
        elif turn < 0.75:
            add(HOLD, slot, dice.randint(110, 2_000))
        elif turn < 0.80:
            add(LONG, slot, dice.randint(110, 9_000))
        elif turn < 0.92:
            begun_ms = at_ms  # the choices, more or less as they are meant
            add(LONG, slot, dice.randint(110, 3_000))
            for kind in (HOLD, *[TAP] * dice.randint(0, 4), HOLD, dice.choice((TAP, HOLD))):
                if dice.random() < 0.95:
                    add(kind, slot, dice.randint(110, 900))
            if dice.random() < 0.5:
                other = dice.randrange(slots)
                for n in range(dice.randint(1, 5)):
                    out.append(Step(begun_ms + n * dice.randint(300, 2_000), "press", other, 90))
        elif turn < 0.98:
            for other in range(slots):  # in the same millisecond, or nearly
                apart_ms = dice.choice((0, 0, 1, 300))
                kind = dice.choice((TAP, HOLD))
                out.append(Step(at_ms + apart_ms, "press", other, held_ms(dice, kind)))
            at_ms += 5_500
        else:
            out.append(Step(at_ms, "press", slot, STUCK_MS + dice.randint(0, 200_000)))
        at_ms += int(dice.expovariate(1 / pace))
    return out


def start_by_hand(dice: random.Random, slots: int) -> list[Step]:
    """Return a hold and, mostly soon enough, another one, by the same button or another."""
    first = Step(dice.randint(0, 20_000), "press", 0, held_ms(dice, HOLD))
    pause_ms = dice.choice((-500, 110, 300, 1_000, 3_000, 4_990, 5_010, 7_000))
    slot = dice.choice((0, 0, dice.randrange(slots)))
    return [first, Step(first.at_ms + first.b + pause_ms, "press", slot, held_ms(dice, HOLD))]


def make(seed: str, most_boxes: int = 24) -> Script:
    """Return the class of a seed."""
    plan = Plan(seed)
    dice = random.Random(f"{seed} class")
    count = dice.choice((1, 1, 2, 3, 4, 8, most_boxes))
    spans = plan.spans()
    length_ms = sum(s.duration_ms for s in spans)
    by_host = dice.random() < 0.75
    arm_at_ms = dice.choice((0, dice.randint(0, 20_000)))
    starts_ms = arm_at_ms + dice.randint(5, 40) * 1_000
    ends_ms = starts_ms + length_ms + sum(s.kind == 7 for s in spans) * 60_000 + 60_000
    pace_ms = dice.choice((1_000, 3_000, 10_000, 30_000))
    boxes = []
    for number in range(min(count, most_boxes)):
        steps = people(dice, plan.buttons, ends_ms, pace_ms)
        if by_host:
            if starts_ms // 1000 - arm_at_ms // 1000 > 2 and dice.random() < 0.1:
                steps.append(Step(dice.randint(arm_at_ms, starts_ms), "disarm"))
                steps.append(Step(starts_ms + 100, "arm", starts_ms + 20_000))
            steps.append(Step(arm_at_ms, "arm", starts_ms))
        else:
            if dice.random() < 0.8:
                steps = [s for s in steps if s.at_ms > 6_000]
            for _ in range(dice.randint(1, 3)):
                steps += start_by_hand(dice, plan.buttons)
        for _ in range(dice.choice((0, 0, 0, 1, 2))):
            at_ms = dice.randint(starts_ms, ends_ms)
            if dice.random() < 0.5:
                steps.append(Step(at_ms, "fail", dice.choice((50, 400, 2_000, 5_000))))
            else:
                steps.append(Step(0, "fail once", dice.randint(2, 2 * len(spans) + 4)))
        steps.sort(key=lambda s: s.at_ms)
        boxes.append(
            BoxScript(
                number,
                by_host or dice.random() < 0.7,
                dice.randint(-50, 50),
                dice.choice((0, (1 << 30) - dice.randint(1, 60_000_000), dice.randrange(1 << 30))),
                dice.choice((0.0, 0.05, 0.3)),
                tuple(dice.randint(500, 20_000) for _ in range(3)),
                tuple(steps),
            )
        )
    return Script(seed, plan, tuple(boxes), ends_ms)
