"""A computer and boxes whose time is simulated, for tests of everything about clocks."""

import random
from dataclasses import replace

from handbell.base.errors import BoxError, HandbellError
from handbell.boxes.link import replies
from handbell.boxes.link.fleet import Outcome
from handbell.boxes.link.messages import Hello, Status

UTC_US = 1_790_000_000_000_000


class Host:
    """A computer's clocks: ``true_us`` goes on as things take time; the wall can be moved."""

    def __init__(self, utc_us: int = UTC_US, mono_us: int = 5_000_000_000) -> None:
        self.true_us = 0
        self.wall_us = utc_us  # at true 0
        self.start_mono_us = mono_us
        self.slew_ppm = 0
        self.at: list[tuple[int, object]] = []  # what happens when, by true_us

    def utc_us(self) -> int:
        return self.wall_us + self.true_us + self.true_us * self.slew_ppm // 1_000_000

    def mono_us(self) -> int:
        return self.start_mono_us + self.true_us

    def sleep(self, seconds: float) -> None:
        self.take(round(seconds * 1e6))

    def take(self, us: int) -> None:
        """Let time go by."""
        end_us = self.true_us + us
        for when in sorted(self.at, key=lambda a: a[0]):
            if when[0] <= end_us:
                self.at.remove(when)
                self.true_us = max(self.true_us, when[0])
                when[1]()
        self.true_us = max(self.true_us, end_us)

    def step(self, us: int) -> None:
        """Move the wall clock."""
        self.wall_us += us


class Box:
    """A box at the end of a cable: a stand-in for a connection to one."""

    def __init__(self, host: Host, box_id: str = "e66164084b000001", ppm: float = 0, **how) -> None:
        self.clock = host
        self.url = f"fake://{box_id}"
        self.label = f"Box {box_id[-4:]}"
        self.ppm = ppm
        self.who = Hello(box_id, boot=1, station=int(box_id[-2:], 16))
        self.origin_us = how.get("origin_us", 77_000_000)
        self.delays = how.get("delays") or self.jitter
        self.rng = random.Random(box_id)
        self.silent = 0  # requests that go unanswered
        self.gone = False
        self.clock_moved_s = 0
        self.asked: list[dict] = []
        self.kept: dict = {}  # what it says that it keeps of a rate
        self.restarted_at_us = 0
        self.armed: dict = {}

    def jitter(self) -> tuple[int, int, int]:
        """Return (there, busy, back) in us."""
        r = self.rng.randint
        return r(100, 2100), r(300, 900), r(100, 1100)

    def box_us(self) -> int:
        gone_us = self.clock.true_us - self.restarted_at_us
        return self.origin_us + gone_us + int(gone_us * self.ppm / 1e6)

    def restart(self) -> None:
        self.restarted_at_us = self.clock.true_us
        self.origin_us = 0
        self.who = replace(self.who, boot=self.who.boot + 1)

    def hello(self) -> Hello:
        self.ask(replies.NAME)  # it takes as long
        return self.who

    def ask(self, kind, tries: int = 4, **fields):
        return self.timed_ask(kind, tries, **fields)[0]

    def timed_ask(self, kind, tries: int = 4, **fields) -> tuple:
        do = kind.do
        if self.gone:
            raise BoxError(self.label, "was unplugged", "Plug it in and run the command again")
        sent_us = self.clock.mono_us()
        if self.silent and do == "time":
            self.silent -= 1
            self.clock.take(700_000)
            raise BoxError(self.label, "does not answer")
        there, busy, back = self.delays()
        self.clock.take(there)
        t2 = self.box_us()
        self.clock.take(busy)
        reply = {"t2": t2, "t3": self.box_us()} if do == "time" else {}
        self.asked.append({"do": do, **fields})
        if do == "clock":
            reply |= self.kept
        if do == "arm":
            self.armed, reply = fields, {"utc_ms": fields["utc_ms"]}
        if do == "disarm":
            self.armed = {}
        self.clock.take(back)
        if do == "status":
            start_ms = self.armed.get("utc_ms")
            state = "ready" if start_ms is None else "set"
            sel = self.armed.get("d", "")
            return Status(state, sel, start_utc_ms=start_ms), sent_us, self.clock.mono_us()
        return kind.read(fields, reply), sent_us, self.clock.mono_us()

    @property
    def given(self) -> dict:
        """The last clock that the box was given."""
        return [a for a in self.asked if a["do"] == "clock"][-1]


class Boxes:
    """A stand-in for a fleet; boxes are asked one after another, on one clock."""

    def __init__(self, boxes: list[Box]) -> None:
        self.connections = boxes
        self.strangers = []
        self.hiding = None

    def each(self, do, on=None) -> list[Outcome]:
        out = []
        for box in self.connections if on is None else on:
            outcome = Outcome(box.url, box.label, box.who)
            try:
                outcome.value = do(box)
            except HandbellError as error:
                outcome.error = error
            out.append(outcome)
        return out
