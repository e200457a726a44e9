"""What must hold of every box after a class on virtual boxes."""

from __future__ import annotations

import struct

from oracle import Oracle

from handbell.base.errors import HandbellError
from handbell.boxes.clocks.clock import set_clock
from handbell_core import journal as j
from rig import digest, of_kind

BELL_US = 6_000
NEAR_MS = 60  # presses this close to a span's edge are not held against the oracle
LOST_MS = 5_000
OFF_MS = 150  # a tap during a flash write may be told so much late (docs/engineers/timing.md)
BASE_UTC_MS = 1_700_000_000_000


def judge(room) -> None:
    """Look at every box of a class that was played; ``room.out`` takes what is wrong."""
    for n in range(room.script.boxes):
        _Box(room, n).judge()


class _Box:
    def __init__(self, room, n: int) -> None:
        self.room, self.n = room, n
        self.out, self.script = room.out, room.script
        self.box = room.rig.world.boxes[n]
        self.cuts = room.cuts[n]
        trouble = self.script.trouble
        self.spares = trouble.spares if trouble else ""
        self.runs: list[bytes] = []

    def wrong(self, text: str) -> None:
        self.out.wrong.append(f"box {self.n}: {text}")

    def hold(self, what: str, right: bool) -> None:
        self.out.checks += 1
        if not right:
            self.wrong(what)

    def judge(self) -> None:
        """Ask, read, compare, then play one more class."""
        failed = self._failed()
        if not self.room.seen_out[self.n]:
            self.hold("its class doesn't end", self.script.by_hand)
            return
        if failed is None:
            return
        if failed:
            self.out.faults["failures of a method"] += failed
        complaints = self.box.stderr_text().strip()
        self.hold(f"it complains: {complaints[-200:]}", not complaints)
        if not self._read():
            return
        self._logs()
        self._taps_kept()
        calm = not self.cuts and not failed
        if calm:
            self._by_the_manual()
        if (
            failed > self.room.failed_before[self.n]
            and not self.cuts
            and "f" not in self.spares
            and not self.script.by_hand
        ):
            self._fault_told()
        self._next_class(failed)

    def _failed(self) -> int | None:
        try:
            self.room.rig.ask("hello", self.box)
            return int(self.room.rig.ask("failed", self.box)["failed"])
        except HandbellError as error:
            self.wrong(f"it doesn't answer: {error}")
            return None

    def _read(self) -> bool:
        try:
            self.runs = self.room.rig.runs(self.box)
        except HandbellError as error:
            if "l" not in self.spares and "c" not in self.spares and "a" not in self.spares:
                self.wrong(f"its logs can't be read: {error}")
            return False
        return True

    def _logs(self) -> None:
        began = self.room.armed[self.n] or (self.script.by_hand and not self.spares)
        if began and "l" not in self.spares and not self.cuts:
            self.hold("a class without a log", bool(self.runs))
        for run in self.runs:
            runs = len(of_kind(run, j.RUN))
            self.hold("a log of more than one run", runs == 1 or (not runs and "l" in self.spares))
            if not self.cuts and "l" not in self.spares:
                self.hold("a log without an end", len(of_kind(run, j.END)) == 1)

    def _taps_kept(self) -> None:
        """A tap older than 5 s outlives a cut; each is there once."""
        if "l" in self.spares or not self.runs:
            return
        kept = []
        for run in self.runs:
            taps = of_kind(run, j.TAP)
            kept += [(t[1], t[3]) for t in taps]
            counted = [t[1:] for t in taps if not t[4][6] & j.TAP_OUTSIDE]
            self.hold("a tap told twice", len(set(counted)) == len(counted))
        if not self.cuts or self.script.by_hand or not self.room.armed[self.n]:
            return
        cut_us = self.cuts[0]
        oracle = self._oracle(cut_us)
        if oracle.wanted.unclear_ms < 1 << 40 or oracle.state not in ("play", "tally"):
            return
        offset_ms = self.room.utc_ms(0) - BASE_UTC_MS
        for tap in oracle.wanted.taps:
            # By when it was made: a gate or a wait lets the class's own time stand still.
            since_ms = (cut_us - self.room.zero_us) // 1000 + offset_ms - tap.at_ms
            old = since_ms > LOST_MS + tap.held_ms
            if tap.due and old and self._is_clear(oracle, tap.at_ms):
                near = any(s == tap.slot and abs(ms - tap.class_ms) <= OFF_MS for s, ms in kept)
                self.hold(f"lost in the cut at {cut_us} us: {tap}", near)

    def _oracle(self, until_us: int) -> Oracle:
        """Return the oracle after this box's presses, on UTC."""
        plan = self.script.plan
        spans = plan.spans(self.n)
        at = 0
        number = 0
        for span in spans:
            span.start_ms = at
            at += span.duration_ms if span.kind != 9 else 0
            if span.kind == 3:
                number += 1
                span.window = number
        oracle = Oracle(spans, plan.grid_s, plan.count_s, BASE_UTC_MS)
        offset_ms = self.room.utc_ms(0) - BASE_UTC_MS
        oracle.arm(self.room.start_utc_ms() - BASE_UTC_MS, offset_ms)
        events = []
        for at_us, slot, held_ms in self.room.presses[self.n]:
            at_ms = (at_us - self.room.zero_us) // 1000 + offset_ms
            events += [(at_ms, "press", slot), (at_ms + held_ms, "release", slot)]
        until_ms = (until_us - self.room.zero_us) // 1000 + offset_ms
        for at_ms, what, slot in sorted(events):
            if at_ms < until_ms:
                getattr(oracle, what)(slot, at_ms)
        oracle.to(until_ms)
        return oracle

    def _is_clear(self, oracle: Oracle, at_ms: int) -> bool:
        changes = oracle.wanted.states + oracle.wanted.pages
        return all(abs(at_ms - ms) > NEAR_MS for ms, *_ in changes)

    def _by_the_manual(self) -> None:
        """Bells and results, where nothing was broken."""
        if self.script.by_hand or not self.room.armed[self.n]:
            return
        oracle = self._oracle(self.room.rig.world.now_us())
        wanted = oracle.wanted
        self._bells(wanted)
        edges = [ms for _, what, ms in self._edges() if not self._is_clear(oracle, ms) and what]
        if wanted.unclear_ms < 1 << 40 or edges or oracle.state != "over" or not self.runs:
            return
        told = {}
        for rec in of_kind(self.runs[0], j.RESULT):
            told[rec[1], rec[2]] = struct.unpack_from("<HHiHB", rec[4])[1:]
        for (window, slot), count in oracle.counts.items():
            if not count.asked:
                continue
            seen = told.get((slot, window))
            where = f"button {slot} in window {window}"
            if seen is None:
                self.wrong(f"no result of {where}")
                continue
            self.hold(f"reps of {where}: wanted {count.reps}, got {seen[0]}", count.reps == seen[0])
            late_ms = seen[1] - count.made_ms
            self.hold(f"made_ms of {where}: {count.made_ms}, {seen[1]}", abs(late_ms) <= OFF_MS)

    def _edges(self):
        offset_ms = self.room.utc_ms(0) - BASE_UTC_MS
        for at_us, slot, held_ms in self.room.presses[self.n]:
            at_ms = (at_us - self.room.zero_us) // 1000 + offset_ms
            yield slot, "press", at_ms
            yield slot, "release", at_ms + held_ms

    def _bells(self, wanted) -> None:
        if "b" in self.spares:
            return
        sounds = [c.world_us for c in self.box.sound.history if c.duty]
        offset_ms = self.room.utc_ms(0) - BASE_UTC_MS
        first_us = sounds[0] if sounds else 0
        presses = [ms for _, _, ms in self._edges()]
        for due_ms, _ in wanted.bells:
            if due_ms >= wanted.unclear_ms:
                continue
            due_us = self.room.zero_us + (due_ms - offset_ms) * 1000
            if due_us < first_us or any(-100 < due_ms - ms < 2_000 for ms in presses):
                continue  # an answer to a press may sound
            most_us = BELL_US + self._drift_us(due_us)
            near = any(abs(us - due_us) <= most_us for us in sounds)
            self.hold(f"no bell within {most_us} us of {due_us} us", near)

    def _drift_us(self, at_us: int) -> int:
        """How far a crystal that nobody measured has gone since the clock was set."""
        return (abs(self.script.ppm) + 2) * (at_us // 1_000_000 + 1)

    def _fault_told(self) -> None:
        try:
            status = self.room.rig.ask("status", self.box)
        except HandbellError as error:
            self.wrong(f"it doesn't tell how it is: {error}")
            return
        told = status["fault"] != 0 or "erred" in status
        self.hold("something failed, and its status tells nothing of it", told)

    def _next_class(self, failed: int) -> None:
        """A new class gets a log of its own, and ends."""
        if "c" in self.spares or "l" in self.spares or "a" in self.spares:
            return
        rig = self.room.rig
        rig.world.run_for(2_000_000)
        start_ms = rig.world.clock.utc_us() // 1_000_000 * 1000 + 12_000
        try:
            with rig.connect(self.box) as connection:
                set_clock(connection)
            if rig.ask("status", self.box)["state"] not in ("ready", "over"):
                return  # it waits at a gate, or for a start by hand
            rig.ask("arm", self.box, d=digest(self.room.data[self.n]), utc_ms=start_ms)
            start_us = start_ms * 1000 - rig.world.clock.start_utc_us
            rig.world.run_to(start_us + 2_500_000)
            state = rig.ask("status", self.box)["state"]
            self.hold(f"armed again, it is {state}", state == "play")
            self.room.see_out(self.n)
            rig.world.run_for(10_000_000)
            runs = rig.runs(self.box)
            self.hold("a new class without a log of its own", len(runs) == len(self.runs) + 1)
            if runs:
                self.hold("a new class's log without an end", bool(of_kind(runs[-1], j.END)))
        except HandbellError as error:
            self.wrong(f"no second class: {error}")
