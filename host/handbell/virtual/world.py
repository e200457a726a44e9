"""A world of virtual boxes on one clock, which flows or jumps."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType

from handbell.base.errors import HandbellError
from handbell.base.files import private_folder
from handbell.virtual.box import BoxSpec, VirtualBox
from handbell.virtual.clock import Pace, WorldClock, machine_us, write_clock
from handbell.virtual.process import find_micropython
from handbell.virtual.relay import Relay

_FASTEST = 255
_SETTLE_S = 2.0
_PROGRESS_S = 0.1
# A box that has said nothing for so long, in a jump, is stuck.
_STUCK_S = 60.0
Progress = Callable[[int], None]


class World:
    """Any number of virtual boxes; a context manager that ends them.

    `folder` keeps what belongs to the world: `clock.json` (see `load_clock`), ports, complaints.
    Time starts at `start_utc_us` (now, unless told), and flows `speed` times as fast as real
    time while no host has a port open; at speed 0 it stands still but for jumps.
    HandbellError where virtual boxes can't run.
    """

    def __init__(self, folder: Path, start_utc_us: int | None = None, speed: int = 1) -> None:
        find_micropython()
        if not 0 <= speed <= _FASTEST:
            raise HandbellError(f"{speed} is no speed of time", f"Choose one from 0 to {_FASTEST}")
        self.folder = folder.resolve()
        private_folder(self.folder)
        self.clock_path = self.folder / "clock.json"
        self.speed = speed
        self.boxes: list[VirtualBox] = []
        self.lock = threading.RLock()
        self.changed = threading.Condition()
        self.jump_to_us: int | None = None
        start = time.time_ns() // 1000 if start_utc_us is None else start_utc_us
        self.clock = WorldClock(start, Pace(0, machine_us(), speed))
        self.relay = Relay(self._hosts_changed)
        self._publish()

    def __enter__(self) -> World:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Ends every box; their flash files stay."""
        for box in self.boxes:
            box.cut_power()
        self.boxes.clear()
        self.relay.stop()
        self.clock_path.unlink(missing_ok=True)

    def add_box(self, spec: BoxSpec) -> VirtualBox:
        """Makes a box and powers it up; BoxError when it doesn't start."""
        if any(box.name == spec.name for box in self.boxes):
            raise HandbellError(f"There is a box {spec.name} already", "Give it another name")
        box = VirtualBox(spec, self)
        self.boxes.append(box)
        self.relay.add(box)
        box.power_up()
        self._publish()
        return box

    def now_us(self) -> int:
        """World time in microseconds since the world began."""
        return self.clock.mono_us()

    def utc_us(self) -> int:
        """UTC in microseconds since 1970, as the world has it."""
        return self.clock.utc_us()

    def run_for(self, us: int, progress: Progress | None = None) -> None:
        """`run_to`, `us` microseconds from now."""
        self.run_to(self.now_us() + us, progress)

    def run_to(self, world_us: int, progress: Progress | None = None) -> None:
        """Jumps: every box runs from event to event up to `world_us`, then time flows again.

        `progress` hears now and then how far the slowest box is. HandbellError while a host has
        a port open, and afterwards when a box stopped or got stuck on the way.
        """
        self._refuse_hosts()
        self.relay.hold_hosts(True)
        try:
            with self.lock:
                now_us = self.now_us()
                if world_us <= now_us:
                    return
                self.clock.pace = Pace(now_us, machine_us(), 0)
                self.jump_to_us = world_us
                self._publish()
                runners = [box for box in self.boxes if box.process]
                for box in runners:
                    box.send_pace()
            self._wait_for(runners, world_us, progress)
            with self.lock:
                self.jump_to_us = None
                self._flow_from(world_us)
        finally:
            self.relay.hold_hosts(False)
        for box in runners:
            box.check()

    def _wait_for(
        self, runners: list[VirtualBox], world_us: int, progress: Progress | None
    ) -> None:
        def late() -> list[VirtualBox]:
            return [box for box in runners if box.process and box.reached_us < world_us]

        while True:
            with self.changed:
                self.changed.wait_for(lambda: not late(), _PROGRESS_S)
                behind = late()
            if progress:
                progress(min((box.seen_us for box in behind), default=world_us))
            if not behind:
                return
            for box in behind:
                if time.monotonic() - box.heard_at_s > _STUCK_S:
                    box.give_up()

    def _refuse_hosts(self) -> None:
        """Lets boxes have what was sent to them, then makes sure that nobody listens."""
        end_s = time.monotonic() + _SETTLE_S
        while not self.relay.settle() and time.monotonic() < end_s:
            time.sleep(0.001)
        for box in self.boxes:
            if box.host_open:
                raise HandbellError(
                    f"Time can't jump while a host has the port of {box.name} open",
                    "Close the connection first",
                )

    def _hosts_changed(self) -> None:
        with self.lock:
            if self.jump_to_us is None and self.clock.pace.speed != self._wanted_speed():
                self._flow_from(self.now_us())

    def _wanted_speed(self) -> int:
        return 1 if any(box.host_open for box in self.boxes) else self.speed

    def _flow_from(self, world_us: int) -> None:
        self.clock.pace = Pace(world_us, machine_us(), self._wanted_speed())
        self._publish()
        for box in self.boxes:
            box.send_pace()

    def _publish(self) -> None:
        urls = {box.name: box.url for box in self.boxes}
        write_clock(self.clock_path, self.clock.start_utc_us, self.clock.pace, urls)
