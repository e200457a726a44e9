"""The life of one box with a clock part: a class a day, and each day its power fails.

In the seconds after the power is back a host may ask for anything. What the box says yes to must
stay so, over the next power failure too; what it was not asked to end must go on.
"""

from __future__ import annotations

import random
import struct
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

from handbell.base.errors import BoxError, HandbellError
from handbell_core import faults
from handbell_core import journal as j
from made import lead_in, rest, window
from rig import Rig, digest, of_kind, timeline

S = 1_000_000
BELLS_S = (5, 25, 35, 55)  # go, rest, go, close
OVER_S = 120  # from the start: the end screen is gone
FOUND_US = 8 * S  # what is to be found again is found, also if one tick of the part is missed
REQUESTS = ("nothing", "nothing", "disarm", "select", "arm", "collect")


@dataclass(frozen=True)
class Day:
    """When the power fails, in s from the start; how long; then a request, and another failure."""

    cut_s: int
    off_ms: int
    ask: str
    ask_ms: int  # after the power is back
    again: bool

    def __str__(self) -> str:
        again = ", then once more" if self.again else ""
        return (
            f"no power for {self.off_ms} ms at {self.cut_s} s, "
            f"the host {self.ask_ms} ms later: {self.ask}{again}"
        )


@dataclass
class Life:
    """What came of a life."""

    days: list[Day] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    joins: int = 0
    checks: int = 0


def make(seed: str, days: int) -> list[Day]:
    """Return the days of a seed."""
    dice = random.Random(f"{seed} life")
    return [
        Day(
            dice.choice((-15, -8, 7, 12, 20)),
            dice.choice((200, 1_000, 3_000)),
            dice.choice(REQUESTS),
            dice.choice((0, 300, 700, 1_000, 1_500, 2_500)),
            dice.random() < 0.4,
        )
        for _ in range(days)
    ]


def play(seed: str, days: int = 12) -> Life:
    """Live through the days of a seed."""
    life = Life(make(seed, days))
    with tempfile.TemporaryDirectory() as folder, Rig(Path(folder), rtc=True) as rig:
        box = _Box(rig, life)
        for number, day in enumerate(life.days):
            box.where = f"day {number}, {day}"
            try:
                box.live(day)
            except HandbellError as error:
                life.wrong.append(f"{box.where}: {error}")
                break
    return life


def _spans():
    return [lead_in(5_000), window(20_000), rest(10_000), window(20_000)]


class _Box:
    def __init__(self, rig: Rig, life: Life) -> None:
        self.rig, self.life = rig, life
        self.plan, self.other = timeline(_spans), timeline(lambda: [lead_in(5_000), window(60_000)])
        self.where = ""
        self.start_us = 0
        rig.send([self.other])
        rig.send([self.plan])
        rig.world.run_for(8 * S)

    def hold(self, what: str, right: bool) -> None:
        self.life.checks += 1
        if not right:
            self.life.wrong.append(f"{self.where}: {what}")

    def live(self, day: Day) -> None:
        """Play one class with its power failures, and bring its log home."""
        rig = self.rig
        rig.ask("select", d=digest(self.plan))
        self.start_us = rig.arm([self.plan], in_s=30)
        rig.world.run_to(self.start_us + day.cut_s * S)
        joins = self._fail(day.off_ms)
        rig.world.run_for(day.ask_ms * 1000)
        goes_on = self._ask(day)
        if day.again:
            rig.world.run_for(S)
            joins += self._fail(1_000)
        rig.world.run_for(FOUND_US)
        status = rig.ask("status")
        wanted = ("set", "play") if goes_on else ("ready",)
        self.hold(f"it is {status['state']}", status["state"] in wanted)
        from_us = rig.world.now_us()
        rig.world.run_to(max(self.start_us, from_us) + OVER_S * S)
        self._rang(goes_on, from_us)
        self._bring_home(goes_on, joins)

    def _fail(self, off_ms: int) -> int:
        """Let the power fail; return how often the box may join its class by that, 0 or 1."""
        rig = self.rig
        in_class = rig.world.now_us() > self.start_us
        rig.box.cut_power()
        rig.world.run_for(off_ms * 1000)
        rig.box.power_up()
        return int(in_class)

    def _ask(self, day: Day) -> bool:
        """Ask what the day says; return whether the start or class that was cut off goes on."""
        rig = self.rig
        in_class = day.cut_s > 0
        try:
            if day.ask == "disarm":
                rig.ask("disarm")
                self.hold("a class was taken back as if it were a start", not in_class)
                return False
            if day.ask == "select":
                rig.ask("select", d=digest(self.other))
                return False
            if day.ask == "arm":
                utc_ms = (rig.world.clock.utc_us() // S + 30) * 1000
                rig.ask("clock", **self._clock())
                rig.ask("arm", d=digest(self.plan), utc_ms=utc_ms)
                self.hold("another start was set in a class", not in_class)
                self.start_us = utc_ms * 1000 - rig.world.clock.start_utc_us
            if day.ask == "collect":
                self._drop_all()
        except BoxError as error:
            busy = error.code == faults.BUSY and (in_class or day.ask in ("select", "collect"))
            self.hold(f"it refuses: {error}", busy)
        return True

    def _clock(self) -> dict[str, int]:
        box_us = self.rig.ask("time")["t3"]
        return {
            "utc_us": self.rig.world.clock.utc_us(),
            "box_us": box_us,
            "bound_us": 500,
            "tz_s": 0,
        }

    def _drop_all(self) -> int:
        """Erase every log that is not open, as a host does that has it; return how many were."""
        rig = self.rig
        entries = [
            rig.ask("list", of="runs", i=i) for i in range(rig.ask("list", of="runs", i=0)["n"])
        ]
        closed = [entry for entry in entries if not entry.get("open")]
        for entry in closed:
            rig.ask("drop", of="runs", name=entry["name"], d=entry["d"])
        return len(closed)

    def _rang(self, goes_on: bool, from_us: int) -> None:
        bells = [bell for bell in self.rig.box.sound.bells() if bell > from_us]
        if not goes_on:
            self.hold("it rings though its start or class was ended", not bells)
            return
        for due_s in BELLS_S:
            due_us = self.start_us + due_s * S
            if due_us > from_us + S:
                near = min((abs(bell - due_us) for bell in bells), default=S)
                self.hold(f"no bell at {due_s} s", near < S // 4)

    def _bring_home(self, goes_on: bool, joins: int) -> None:
        runs = self.rig.runs()
        for run in runs:
            self.hold("a log without an end", len(of_kind(run, j.END)) == 1)
        if goes_on:
            self.hold("its log is gone", bool(runs))
            causes = [rec[4][1] for run in runs for rec in of_kind(run, j.STATE)]
            told = causes.count(j.BY_CLOCK)  # a second failure may come before it has joined
            self.hold(f"joined {told} times", min(1, joins) <= told <= joins)
            ends = [struct.unpack_from("<B", of_kind(run, j.END)[0][4])[0] for run in runs[-1:]]
            self.hold("its class was not played to the end", ends == [j.BY_TIME])
            self.life.joins += told
        self._drop_all()
        self.hold("a log stays on the box", self.rig.ask("list", of="runs", i=0)["n"] == 0)
