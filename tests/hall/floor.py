"""One class on virtual boxes: the whole firmware, presses on pins, a host, cuts, failing methods."""

from __future__ import annotations

import random
import tempfile
from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path

from floor_check import OFF_MS, judge
from oracle_state import HOLD_MS, LONG_MS
from plans import Plan
from script import people
from trouble import NONE_CODE, OddPart, Trouble, draw, odd_part
from troubled import troubled

from handbell.base.errors import HandbellError
from handbell.boxes.clocks.clock import set_clock
from rig import Rig, digest, timeline

ASKS = ("hello", "status", "clock", "select", "list", "get", "drop", "arm", "time", "junk", "odd")


@dataclass(frozen=True)
class Step:
    """One thing that happens, at a time in ms since the boxes were armed."""

    at_ms: int
    box: int
    what: str  # press, ask, cut
    a: int = 0
    b: int = 0

    def __str__(self) -> str:
        if self.what == "press":
            text = f"button {self.a} held for {self.b} ms"
        elif self.what == "ask":
            text = f"the host: {ASKS[self.a]}"
        else:
            text = f"no power for {self.a} ms"
        return f"{self.at_ms:>7} ms, box {self.box}: {text}"


@dataclass(frozen=True)
class FloorScript:
    """One class."""

    seed: str
    plan: Plan
    boxes: int
    rtc: bool
    ppm: int
    starts_ms: int
    by_hand: bool
    steps: tuple[Step, ...]
    trouble: Trouble | OddPart | None

    def lines(self) -> list[str]:
        """Return the class as text, one line a step."""
        part = "with a clock part" if self.rtc else "without a clock part"
        out = [f"class {self.seed} on {self.boxes} boxes {part}: {self.plan}"]
        if self.trouble:
            out.append(f"  {self.trouble}")
        start = "by hand" if self.by_hand else f"by the host at {self.starts_ms} ms"
        return [*out, f"  start {start}", *(f"  {step}" for step in self.steps)]


@dataclass
class FloorOutcome:
    """What came of one class."""

    wrong: list[str] = field(default_factory=list)
    hours: float = 0.0
    checks: int = 0
    faults: Counter[str] = field(default_factory=Counter)


def make(seed: str) -> FloorScript:
    """Return the class of a seed."""
    dice = random.Random(f"{seed} floor")
    plan = Plan(f"{seed} floor")
    plan.windows = min(plan.windows, 3)
    plan.longest_s = min(plan.longest_s, 15)
    plan.begins = "lead-in" if plan.begins == "gate" else plan.begins
    boxes = dice.choice((1, 1, 2, 4))
    starts_ms = dice.randint(10, 30) * 1000
    ends_ms = starts_ms + sum(s.duration_ms for s in plan.spans())
    by_hand = dice.random() < 0.2
    steps: list[Step] = []
    for box in range(boxes):
        pressed = people(dice, plan.buttons, ends_ms, 2_500)
        if dice.random() < 0.5:  # so that most classes run on to their end
            pressed = [s for s in pressed if s.b < 1_500]
        if by_hand:
            pressed = [s for s in pressed if s.at_ms > starts_ms]
            steps += [Step(at_ms, box, "press", 0, 2_000) for at_ms in (5_000, 8_000)]
        steps += [Step(s.at_ms, box, "press", s.a, clearly_ms(s.b)) for s in pressed]
        if dice.random() < 0.15:  # something leans on a button, or it is stuck
            slot, held_ms = dice.randrange(plan.buttons), dice.choice((9_000, 40_000, 200_000))
            steps.append(Step(dice.randint(starts_ms, ends_ms), box, "press", slot, held_ms))
        for _ in range(dice.choice((0, 2, 6))):
            ask = dice.randrange(len(ASKS))
            steps.append(Step(dice.randint(0, ends_ms), box, "ask", ask, dice.randrange(1 << 16)))
        if dice.random() < 0.3:
            off_ms = dice.choice((50, 500, 3_000))
            steps.append(Step(dice.randint(starts_ms, ends_ms), box, "cut", off_ms))
    steps.sort(key=lambda s: s.at_ms)
    return FloorScript(
        seed, plan, boxes, dice.random() < 0.5, dice.randint(-40, 40), starts_ms, by_hand,
        tuple(steps), _trouble(dice),
    )  # fmt: skip


def _trouble(dice: random.Random) -> Trouble | OddPart | None:
    turn = dice.random()
    if turn < 0.5:
        return draw(dice)
    return odd_part(dice) if turn < 0.7 else None


def clearly_ms(held_ms: int) -> int:
    """Return a length that a flash write at its end does not make a longer gesture."""
    near = any(least_ms - OFF_MS <= held_ms < least_ms for least_ms in (HOLD_MS, LONG_MS))
    return held_ms - OFF_MS if near else held_ms


def play(script: FloorScript) -> FloorOutcome:
    """Play a class on virtual boxes in a folder of its own."""
    out = FloorOutcome()
    with tempfile.TemporaryDirectory() as folder:
        try:
            _Class(script, Path(folder), out).play()
        except HandbellError as error:
            out.wrong.append(f"the class broke off: {error}")
    return out


class _Class:
    def __init__(self, script: FloorScript, folder: Path, out: FloorOutcome) -> None:
        self.script, self.folder, self.out = script, folder, out
        self.dice = random.Random(f"{script.seed} pins")
        plan = script.plan
        self.data = [
            timeline(lambda b=box: plan.spans(b), box + 1, grid_s=plan.grid_s, count_s=plan.count_s)
            for box in range(script.boxes)
        ]
        self.presses: list[list[tuple[int, int, int]]] = [[] for _ in range(script.boxes)]
        self.cuts: list[list[int]] = [[] for _ in range(script.boxes)]
        self.busy_ms = [[0] * 4 for _ in range(script.boxes)]

    def play(self) -> None:
        script = self.script
        code = script.trouble.code() if script.trouble else NONE_CODE
        firmware = troubled(self.folder, code)
        spec = {
            "firmware": firmware, "buttons": 4, "rtc": script.rtc, "ppm": script.ppm,
            "tick_origin": self.dice.choice((0, (1 << 30) - 30_000_000)),
        }  # fmt: skip
        if script.trouble:
            odd = isinstance(script.trouble, OddPart)
            self.out.faults["a part that misbehaves" if odd else "a method that fails"] += 1
        with Rig(self.folder, boxes=script.boxes, **spec) as rig:
            self.rig = rig
            if not self._load():
                return
            self.zero_us = rig.world.now_us()
            self.armed = self._arm_all(script.starts_ms)
            self.failed_before = [self._failed(n) for n in range(script.boxes)]
            self._run_steps()
            last_s = max((s.at_ms + s.b for s in script.steps), default=0) / 1000
            length_s = sum(s.duration_ms for s in script.plan.spans()) / 1000
            self._run_to_ms(int(max(last_s, script.starts_ms / 1000 + length_s) + 40) * 1000)
            self.seen_out = [self.see_out(n) for n in range(script.boxes)]
            judge(self)
            self.out.hours += rig.world.now_us() / 3.6e9 * script.boxes

    def _load(self) -> bool:
        try:
            self.rig.send(self.data)
        except HandbellError:
            if self.script.trouble and set("ac") & set(self.script.trouble.spares):
                return False
            raise
        return True

    def _failed(self, n: int) -> int:
        try:
            return int(self.rig.ask("failed", self.rig.world.boxes[n])["failed"])
        except HandbellError:
            return 1 << 30  # it is asked again at the end

    def utc_ms(self, at_ms: int) -> int:
        """Return UTC at a time of the script."""
        return (self.rig.world.clock.start_utc_us + self.zero_us) // 1000 + at_ms

    def start_utc_ms(self) -> int:
        """Return the start that the host sets, a whole second."""
        return self.utc_ms(self.script.starts_ms) // 1000 * 1000

    def _arm_all(self, starts_ms: int) -> list[bool]:
        if self.script.by_hand:
            return [False] * self.script.boxes
        return [self.arm(n) for n in range(self.script.boxes)]

    def arm(self, n: int) -> bool:
        """Arm a box; return whether it said yes."""
        try:
            self.rig.ask(
                "arm", self.rig.world.boxes[n], d=digest(self.data[n]), utc_ms=self.start_utc_ms()
            )
        except HandbellError as error:
            spares = self.script.trouble.spares if self.script.trouble else ""
            if not set("ca") & set(spares):
                self.out.wrong.append(f"box {n} can't be armed: {error}")
            return False
        return True

    def _run_to_ms(self, at_ms: int) -> None:
        self.rig.world.run_to(self.zero_us + at_ms * 1000)

    def _run_steps(self) -> None:
        for step in self.script.steps:
            box = self.rig.world.boxes[step.box]
            if step.what == "press":
                self._press(step)
            elif step.what == "ask":
                self._run_to_ms(step.at_ms)
                self._ask(step)
                self.out.faults["requests in between"] += 1
            elif box.is_alive():
                self._run_to_ms(step.at_ms)
                self.cuts[step.box].append(self.rig.world.now_us())
                box.cut_power()
                self.rig.world.run_for(step.a * 1000)
                box.power_up()
                self.out.faults["power cuts"] += 1

    def see_out(self, n: int) -> bool:
        """Let a class come to its end: hold at its gates, wait for its start; False if it goes on."""
        rig, box = self.rig, self.rig.world.boxes[n]
        for _ in range(40):  # with two gates or waits and marks five minutes apart
            try:
                state = rig.ask("status", box)["state"]
            except HandbellError:
                return True  # whether it answers is asked afterwards
            if state in ("ready", "over", "empty"):
                return True
            if state == "gate":
                at_us = rig.world.now_us() + 2_000_000
                box.press(0, at_us, 2_000)
                self.presses[n].append((at_us, 0, 2_000))
            rig.world.run_for(45_000_000)
        return False  # holds have moved its start far away

    def _press(self, step: Step) -> None:
        if step.at_ms < self.busy_ms[step.box][step.a]:
            return
        at_us = self.zero_us + step.at_ms * 1000 + self.dice.randrange(1000)
        if at_us <= self.rig.world.now_us():
            return
        self.busy_ms[step.box][step.a] = step.at_ms + step.b + 150
        bounce = self.dice.choice(((), (300, 700), (400, 900, 1_500, 2_100)))
        self.rig.world.boxes[step.box].press(
            step.a, at_us, step.b, bounce, self.dice.choice(((), (500, 1_200)))
        )
        self.presses[step.box].append((at_us, step.a, step.b))

    def _ask(self, step: Step) -> None:
        what = ASKS[step.a]
        data = self.data[step.box]
        fields = {
            "select": {"d": digest(data[:-1])}, "list": {"of": "runs", "i": step.b % 3},
            "get": {"of": "runs", "name": "00001.hbj", "at": 0, "n": 168},
            "drop": {"of": "runs", "name": "00001.hbj", "d": "00" * 12},
            "arm": {"d": digest(data), "utc_ms": self.start_utc_ms() + 600_000},
            "odd": {"do": "x", "a": [step.b]},
        }  # fmt: skip
        if what == "arm" and (self.script.by_hand or step.at_ms < self.script.starts_ms + 1_000):
            what = "status"  # a host may set another start, and then the class is another one
        try:
            with self.rig.connect(self.rig.world.boxes[step.box]) as connection:
                if what == "clock":
                    set_clock(connection)
                elif what == "junk":
                    connection._port.write(bytes(4 + b % 251 for b in range(step.b % 300)) + b"\n")
                elif what != "odd":
                    connection.request(what, **fields.get(what, {}))
                else:
                    connection.request("select", d=[step.b])
        except HandbellError:
            pass  # it may say no; whether it answers at all is asked at the end


def shrink(script: FloorScript) -> tuple[FloorScript, list[str]]:
    """Leave out what a class that goes wrong doesn't need for that."""
    from shrink import kind_of

    wrong = play(script).wrong
    kind = kind_of(wrong)
    if not kind:
        return script, wrong
    size = len(script.steps) // 2
    tries = 0
    while size and tries < 40:
        at = 0
        while at < len(script.steps) and tries < 40:
            tries += 1
            smaller = replace(script, steps=script.steps[:at] + script.steps[at + size :])
            said = play(smaller).wrong
            if kind_of(said) == kind:
                script, wrong = smaller, said
            else:
                at += size
        size //= 2
    return script, wrong
