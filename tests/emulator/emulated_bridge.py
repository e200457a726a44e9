"""An emulated box's USB serial on a pty, so that programs of their own talk to it. POSIX only."""

from __future__ import annotations

import contextlib
import os
import select
import subprocess
import termios
import time
import tty
from pathlib import Path
from typing import NamedTuple

from emulated_box import UTC_AT_POWER_US, EmulatedBox

from handbell.virtual.clock import Pace, machine_us, write_clock

LOOK_US = 1_000  # of emulated time between looks at the pty
CLOCK_S = 0.02  # of real time between writings of the clock


class Ended(NamedTuple):
    """How a program ended: its exit code (negative: by a signal), what it said, and the times."""

    code: int
    out: str
    err: str
    emulated_s: float
    real_s: float


class Bridge:
    """A cable between an emulated box and whoever opens ``port``; pulled when the power goes.

    While a program runs, the chip is held to the speed of time: it may be slower, never ahead.
    A program that reads HANDBELL_CLOCK waits in the chip's time.
    """

    def __init__(self, box: EmulatedBox, folder: Path) -> None:
        self._box = box
        folder.mkdir(parents=True, exist_ok=True)
        self._clock = folder / "clock.json"
        leader, follower = os.openpty()
        tty.setraw(follower)
        os.set_blocking(leader, False)
        self._ends = [leader, follower]
        # Another name, since mpremote waits without end at a port that it knows for a pty.
        self.port = folder / "port"
        self.port.unlink(missing_ok=True)
        self.port.symlink_to(os.ttyname(follower))

    def close(self) -> None:
        """Pull the cable; twice does no harm."""
        while self._ends:
            os.close(self._ends.pop())
        self.port.unlink(missing_ok=True)

    def run(self, command: list[str], most_s: float, cut_at: bytes = b"") -> Ended:
        """Run a program beside the chip until it ends, or kill it after ``most_s`` of real time.

        Where it sends ``cut_at`` it is killed, and nothing from there on reaches the box.
        """
        from_us, from_s = self._box.now_us, time.monotonic()
        listener, self._box.wire.on_data = self._box.wire.on_data, self._to_program
        self._tell_time()
        termios.tcflush(self._ends[1], termios.TCIFLUSH)
        process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env={**os.environ, "HANDBELL_CLOCK": str(self._clock)},
        )
        passed = bytearray()
        told_s = 0.0
        try:
            while process.poll() is None and time.monotonic() - from_s < most_s:
                self._box.run_to(self._box.now_us + LOOK_US)
                if time.monotonic() > told_s + CLOCK_S:
                    self._tell_time()
                    told_s = time.monotonic()
                if self._box.flash.is_dead:
                    self.close()
                    process.wait(most_s)
                    break
                passed += (data := self._from_program())
                at = passed.find(cut_at) if cut_at else -1
                if at >= 0:
                    self._box.write(data[: max(0, len(data) - len(passed) + at)])
                    break
                self._box.write(data)
                ahead_s = (self._box.now_us - from_us) / 1e6 - (time.monotonic() - from_s)
                select.select(self._ends[:1], [], [], max(0.0, ahead_s))
        finally:
            process.kill()
            out, err = process.communicate()
            self._box.wire.on_data = listener
        times = (self._box.now_us - from_us) / 1e6, time.monotonic() - from_s
        said = [text.decode(errors="replace") for text in (out, err)]
        return Ended(process.returncode, said[0], said[1], *times)

    def _tell_time(self) -> None:
        pace = Pace(int(self._box.now_us), machine_us(), speed=0)
        write_clock(self._clock, UTC_AT_POWER_US, pace, {})

    def _from_program(self) -> bytes:
        try:
            return os.read(self._ends[0], 4096)
        except BlockingIOError:
            return b""

    def _to_program(self, data: bytes) -> None:
        # When nobody reads, a port's buffer is full at some time and what comes is lost.
        with contextlib.suppress(BlockingIOError):
            if self._ends:
                os.write(self._ends[0], data)
