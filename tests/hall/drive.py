"""Plays one box's script on the real runner: its crystal, its late wakes, its failing reads."""

from __future__ import annotations

import io
import random
from dataclasses import dataclass, field

from plans import Plan
from script import BoxScript

from handbell_core.clock import ClockModel, RunTime
from handbell_core.runner import AGAIN, AT_GATE, HELD, NEVER, OVER, READY, SET, STATES, Runner
from handbell_core.ticks import MASK
from handbell_core.timeline import Reader
from made import Sink, timeline_bytes

UTC_US = 1_700_000_010_000_000  # a mark of every grid but that of 300 s
PRESS_KNOWN_US, RELEASE_KNOWN_US = 3_000, 25_000
ANCHOR_US = 4_000_000
MOST_US = 4_000_000
AGAIN_US = 50_000
LATE_MOST_US = 400_000
BY_HOST = 1


class Injected(OSError):
    """The failure that the script asks for; any other that leaves the runner is a defect."""


class FailingReader:
    """A timeline whose reads fail when told to."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader
        self.head = reader.head
        self.fails = False
        self.fails_at: set[int] = set()
        self.reads = self.failed = 0

    def span(self, index, into):
        """Read a span, or fail and leave it torn."""
        self.reads += 1
        if self.fails or self.reads in self.fails_at:
            self.failed += 1
            into.duration_ms = -1
            raise Injected(5)
        return self._reader.span(index, into)

    def text(self, index):
        """Read a string."""
        return self._reader.text(index)


@dataclass
class Seen:
    """One run of the runner: what it was told and what it did, in its own run time."""

    base_utc_ms: int | None
    events: list[tuple[int, str, int]] = field(default_factory=list)
    looks: list[tuple[int, str, int]] = field(default_factory=list)  # run_ms, state, menu
    sink: Sink = field(default_factory=Sink)
    ended_ms: int = -1
    wrong: list[str] = field(default_factory=list)
    last_ms: int = 0
    worst_us: int = 0  # a bell's true time against UTC


class BoxRun:
    """One box through its script; ``runs`` holds a `Seen` for each start that was set."""

    def __init__(self, plan: Plan, script: BoxScript) -> None:
        self.script = script
        self.spans = plan.spans(script.number)
        self.data = timeline_bytes(self.spans, plan.grid_s, plan.count_s)
        self.dice = random.Random(f"{plan.seed} box {script.number}")
        self.salt = self.dice.randrange(1 << 32)
        self.buttons = plan.buttons
        self.reader = FailingReader(Reader(io.BytesIO(self.data)))
        self.now_us = 0
        error_us = self.dice.randint(-300, 300)
        rate_ppb = self._rate_ppb()
        self.model = ClockModel(UTC_US + error_us, self._box_us(0), rate_ppb, 300, 1_000)
        self.runs: list[Seen] = []
        self.down: set[int] = set()
        self.passed_gates = 0
        self.gate_since_us = -1
        self.steps_done = 0
        self.todo = self._inputs()
        self._new_run()

    def _rate_ppb(self) -> int:
        ppb = self.script.ppm * 1_000
        return -ppb * 1_000_000_000 // (1_000_000_000 + ppb) + self.dice.randint(-300, 300)

    def _box_us(self, true_us: int) -> int:
        return 7_000_000 + true_us + true_us * self.script.ppm // 1_000_000

    def _tick(self, true_us: int) -> int:
        return (self._box_us(true_us) + self.script.tick_origin) & MASK

    def _new_run(self) -> None:
        model = self.model if self.script.has_clock else None
        self.clock = RunTime(self._box_us(self.now_us), self._tick(self.now_us), model)
        self.anchored_us = self.now_us
        seen = Seen(self.clock.base_utc_ms if model else None)
        self.seen = seen
        self.runner = Runner(self.reader, self.clock, seen.sink)
        self.runs.append(seen)

    def _run_ms(self, true_us: int) -> int:
        return self.clock.ms_of(self._tick(true_us))

    def play(self, until_us: int) -> None:
        """Play the whole script, and on until the class is over or ``until_us`` has come."""
        todo = self.todo
        due = self.runner.due_ms
        failing = False
        while self.now_us < until_us:
            wake_us = self._wake_us(due, todo, failing)
            self.now_us = max(self.now_us + 1, wake_us)
            if self.now_us - self.anchored_us > ANCHOR_US:
                self.clock.anchor(self._box_us(self.now_us), self._tick(self.now_us))
                self.anchored_us = self.now_us
            while todo and todo[-1][0] <= self.now_us:
                self._take(*todo.pop()[1:])
            due, failing = self._step()
            self._at_gate(todo)
            if self.runner.state == OVER:
                if not any(what == "arm" for *_, what, _, _ in todo):
                    self._idle_on(todo)
                    return
                self._new_run()
                due = NEVER

    def _inputs(self) -> list[tuple[int, int, str, int, int]]:
        """Return (known at us, happens at us, what, a, b), the last one first."""
        out = []
        free_us = [0] * 4
        for step in self.script.steps:
            at_us = step.at_ms * 1000 + self._chance(step.at_ms) % 1000
            if step.what != "press":
                out.append((at_us, at_us, step.what, step.a, step.b))
                if step.what == "fail":
                    over_us = at_us + step.a * 1000
                    out.append((over_us, over_us, "works", 0, 0))
            elif at_us >= free_us[step.a]:
                up_us = at_us + step.b * 1000
                free_us[step.a] = up_us + 110_000
                out += self._press(at_us, up_us, step.a)
        out.sort(key=lambda one: one[:2], reverse=True)
        return out

    def _press(self, at_us: int, up_us: int, slot: int) -> list[tuple[int, int, str, int, int]]:
        return [
            (at_us + PRESS_KNOWN_US, at_us, "press", slot, 0),
            (up_us + RELEASE_KNOWN_US, up_us, "release", slot, 0),
        ]

    def _wake_us(self, due: int, todo, failing: bool) -> int:
        wait_us = self.clock.wait_us(due, self._tick(self.now_us), MOST_US)
        wait_us = max(1, wait_us - wait_us * self.script.ppm // 1_000_000)
        wake_us = self.now_us + (AGAIN_US if failing else wait_us)
        if todo:
            wake_us = min(wake_us, todo[-1][0])
        chance = self._chance(wake_us)
        if chance & 0xFFFF < self.script.late_share * 0x10000:
            wake_us += 1_000 + (chance >> 16) % (LATE_MOST_US - 1_000)
        return wake_us

    def _chance(self, at: int) -> int:
        """Return a number of 48 bits that hangs on a time alone, whatever else happens."""
        mixed = (at + self.salt) * 0x9E3779B97F4A7C15
        return (mixed ^ mixed >> 29) * 0xBF58476D1CE4E5B9 >> 11 & 0xFFFFFFFFFFFF

    def _take(self, at_us: int, what: str, a: int, b: int) -> None:
        at_ms = self._run_ms(at_us)
        if what == "press":
            if a not in self.down:
                self.down.add(a)
                self._told(at_ms, what, a)
                self._try(at_ms, self.runner.press, a, at_ms)
        elif what == "release":
            self.down.discard(a)
            self._told(at_ms, what, a)
            self._try(at_ms, self.runner.release, a, at_ms, self._chance(at_us) % 10 == 0)
        elif what == "arm":
            self._arm(at_ms, a)
        elif what == "disarm":
            self._try(at_ms, self.runner.step, at_ms)
            if self.runner.state == SET:
                self._told(at_ms, what, 0)
                self.runner.stop(at_ms, BY_HOST)
        elif what == "fail once":
            self.reader.fails_at.add(a)
        else:
            self.reader.fails = what == "fail"
            self._told(at_ms, what, 0)

    def _try(self, at_ms: int, does, *args) -> bool:
        """Call what may read; return whether a read failed in it."""
        try:
            does(*args)
        except Injected:
            if not self.reader.fails:  # one read: what is due since the last step may come late
                self._told(self.seen.last_ms, "fail", 0)
                self._told(at_ms + 1, "works", 0)
            return True
        return False

    def _told(self, at_ms: int, what: str, a: int) -> None:
        self.seen.events.append((at_ms, what, a))

    def _arm(self, at_ms: int, start_ms: int) -> None:
        try:
            self.runner.step(at_ms)  # a box answers its host after its other work
        except Injected:
            return
        if self.runner.state not in (READY, HELD, AGAIN):
            return
        if self.script.has_clock:
            starts_ms = self.clock.run_ms_of_utc(UTC_US // 1000 + start_ms)
        else:
            starts_ms = start_ms
        try:
            self.runner.arm(starts_ms)
        except Injected:
            return
        self._told(at_ms, "arm", starts_ms)

    def _step(self) -> tuple[int, bool]:
        run_ms = self._run_ms(self.now_us)
        bells = len(self.seen.sink.bells)
        failed = self._try(run_ms, self.runner.step, run_ms)
        due = self.runner.due_ms
        self.steps_done += 1
        if not failed and due <= run_ms:
            self.seen.wrong.append(f"at {run_ms} ms the deadline stands still at {due} ms")
        self._look(run_ms, failed)
        for due_ms, _ in self.seen.sink.bells[bells:]:
            self._time_bell(due_ms)
        self.seen.last_ms = run_ms
        if self.runner.state == OVER and self.seen.ended_ms < 0:
            self.seen.ended_ms = run_ms
        return due, failed

    def _look(self, run_ms: int, failed: bool) -> None:
        pending = failed or self.reader.fails
        state = "" if pending else STATES[self.runner.state]
        self.seen.looks.append((run_ms, state, self.runner.menu))

    def _time_bell(self, due_ms: int) -> None:
        """Hold the tick of a bell against the UTC that it means."""
        if due_ms == NEVER or self.seen.base_utc_ms is None or abs(due_ms - self.clock.ms) > 20_000:
            return
        tick_us = self.clock.wait_us(due_ms, self._tick(self.now_us), MOST_US)
        rings_us = self.now_us + tick_us
        means_us = (self.seen.base_utc_ms + due_ms) * 1000 - UTC_US
        self.seen.worst_us = max(self.seen.worst_us, abs(rings_us - means_us))

    def _at_gate(self, todo) -> None:
        """Somebody holds at each gate after a while, so that the class goes on."""
        if self.runner.state != AT_GATE:
            self.gate_since_us = -1
        elif self.gate_since_us < 0:
            self.gate_since_us = self.now_us
            waits_ms = self.script.gate_ms[self.passed_gates % len(self.script.gate_ms)]
            self.passed_gates += 1
            self._hold_soon(todo, waits_ms)
        elif self.now_us - self.gate_since_us > 60_000_000:
            self.gate_since_us = self.now_us
            self._hold_soon(todo, 1_000)

    def _hold_soon(self, todo, in_ms: int) -> None:
        free = [slot for slot in range(self.buttons) if slot not in self.down]
        if not free:
            return
        at_us = self.now_us + in_ms * 1000
        up_us = at_us + 2_000_000
        slot = free[self.passed_gates % len(free)]
        busy = [one for one in todo if one[2] == "press" and one[3] == slot]
        ups = [one for one in todo if one[2] == "release" and one[3] == slot]
        inside = [one for one in busy if at_us - 200_000 < one[1] < up_us + 200_000]
        over = [one for one in ups if at_us - 200_000 < one[1] and one not in inside]
        if inside or (over and min(over)[1] > up_us and not any(o[1] > at_us for o in busy)):
            return
        todo += self._press(at_us, up_us, slot)
        todo.sort(key=lambda one: one[:2], reverse=True)

    def _idle_on(self, todo) -> None:
        """Press and step on after the end: nothing may come of it."""
        told = len(self.seen.sink.records)
        for _, at_us, what, slot, _ in list(reversed(todo))[:6]:
            if what in ("press", "release"):
                self.now_us = max(self.now_us, at_us)
                ms = self._run_ms(self.now_us)
                getattr(self.runner, what)(slot, ms)
                self.runner.step(ms)
        if len(self.seen.sink.records) != told:
            self.seen.wrong.append("something was kept after the end")
