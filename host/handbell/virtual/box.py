"""A virtual box: the real firmware in a MicroPython process, between modelled parts."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Protocol

from handbell.base.errors import BoxError
from handbell.virtual.compiled import compiled
from handbell.virtual.edges import EdgeFeed
from handbell.virtual.parts import Parts
from handbell.virtual.ports import Port, PtyPort, TcpPort
from handbell.virtual.process import BoxProcess, standin_root
from handbell.virtual.rtc import RtcPart
from handbell.virtual.spec import (
    BATTERY_CHANNEL,
    BoxSpec,
    battery_u16,
    firmware_root,
    import_paths,
)
from handbell.virtual.standin import _frames as frames
from handbell.virtual.standin._rtc import ADDRESS as RTC_ADDRESS
from handbell.virtual.wire import Wire

if TYPE_CHECKING:
    import threading
    from pathlib import Path

    from handbell.virtual.clock import WorldClock
    from handbell.virtual.relay import Relay

__all__ = ["BoxSpec", "VirtualBox", "firmware_root"]

_START_S = 20.0
_PWRON_RESET = 1
_FAULT = re.compile(r"(\w*(Error|Exception|Interrupt)\b|FATAL)")


class Around(Protocol):
    """What a box sees of the world it is in."""

    folder: Path
    lock: threading.RLock
    changed: threading.Condition
    clock: WorldClock
    relay: Relay
    jump_to_us: int | None

    def now_us(self) -> int:
        """World time."""

    def utc_us(self) -> int:
        """UTC in the world."""


class VirtualBox:
    """One box of a world; made by `World.add_box`.

    `screen`, `light`, `sound`, `line` (the line output), `flash`, `outputs` (levels driven, by
    pin) and `telegrams` (sent by infra-red) show what the firmware did with its parts; `wire` is
    its USB cable; `rtc` its real-time clock, if it has one. `failure` says why the firmware ended
    by itself, if it did.
    """

    def __init__(self, spec: BoxSpec, world: Around) -> None:
        self.spec = spec
        self.name = spec.name
        self.rtc: RtcPart | None = None
        if spec.rtc:
            self.rtc = RtcPart(spec, world.utc_us(), world.now_us())
        self.parts = Parts(spec, self.rtc)
        self.screen = self.parts.screen
        self.light = self.parts.light
        self.sound = self.parts.sound
        self.line = self.parts.line
        self.flash = self.parts.flash
        self.outputs = self.parts.outputs
        self.telegrams = self.parts.telegrams
        port: Port = TcpPort()
        if spec.serve == "pty":
            port = PtyPort(world.folder / "ports" / spec.name)
        self.wire = Wire(port)
        self.process: BoxProcess | None = None
        self.failure: BoxError | None = None
        self.reached_us = -1
        self.seen_us = 0
        self.heard_at_s = 0.0
        self._world = world
        self._battery_mv = spec.battery_mv
        self._has_started = False
        self._wants_plug = True
        self._stderr = world.folder / f"{spec.name}.stderr"
        levels = dict.fromkeys(spec.button_pins, 1)
        self._feed = EdgeFeed({**levels, spec.vbus_pin: 0, spec.receiver_pin: 1})

    # Power

    def power_up(self) -> None:
        """Starts it on the flash it has; BoxError when the firmware doesn't come up."""
        if self.process:
            return
        world = self._world
        self.spec.blank_flash()
        self._stderr.write_bytes(b"")
        self.failure = None
        if self._wants_plug:
            self._set_plugged(True)
        world.relay.call(lambda: self._launch(world.now_us(), _PWRON_RESET))
        with world.changed:
            world.changed.wait_for(lambda: self._has_started or not self.process, _START_S)
        if self.process and not self._has_started:
            self.failure = self._fault("did not start")
            self.cut_power()
        self.check()

    def cut_power(self) -> None:
        """Takes its power away at this moment."""
        self._world.relay.call(lambda: self._cut(self._world.now_us()))

    def give_up(self) -> None:
        """Cuts it off because its time stands still."""
        self.failure = self._fault("got stuck: its firmware no longer waits")
        self.cut_power()

    def is_alive(self) -> bool:
        """Whether it has power and runs."""
        return self.process is not None

    def check(self) -> None:
        """Raises BoxError when the firmware ended by itself."""
        if self.failure:
            raise self.failure

    def stderr_text(self) -> str:
        """What the runtime complained about since power-up."""
        if not self._stderr.exists():
            return ""
        return self._stderr.read_text(encoding="utf-8", errors="replace")

    @property
    def battery_mv(self) -> int:
        """The battery's voltage, in millivolts."""
        return self._battery_mv

    @battery_mv.setter
    def battery_mv(self, battery_mv: int) -> None:
        self._battery_mv = battery_mv
        if self.process:
            self.process.send(frames.ADC, BATTERY_CHANNEL, 0, battery_u16(battery_mv))

    # USB

    @property
    def url(self) -> str:
        """Where a host finds it: a path, or socket://127.0.0.1:PORT; the same after replugging."""
        return self.wire.port.url

    @property
    def host_open(self) -> bool:
        """Whether a host has its port open."""
        return self.wire.host_open

    @property
    def is_plugged(self) -> bool:
        """Whether its cable is in."""
        return self._wants_plug

    def unplug(self) -> None:
        """Pulls the USB cable; the box goes on."""
        self._wants_plug = False
        self._set_plugged(False)

    def plug_in(self) -> None:
        """Puts the cable back; the port appears while the box has power."""
        self._wants_plug = True
        if self.process:
            self._set_plugged(True)

    def _set_plugged(self, plugged: bool) -> None:
        self._world.relay.call(self.wire.plug if plugged else self.wire.unplug)
        self._add_edges([(self._world.now_us(), self.spec.vbus_pin, int(plugged))])

    # Buttons

    def press(
        self,
        slot: int,
        at_us: int | None = None,
        hold_ms: int = 120,
        bounce: Sequence[int] = (),
        release_bounce: Sequence[int] = (),
    ) -> None:
        """Presses and releases a button, now or at a world time.

        `bounce` are offsets in microseconds from the press at which the contact changes over, an
        even number of them; `release_bounce` the same from the release.
        """
        start_us = self._world.now_us() if at_us is None else at_us
        end_us = start_us + hold_ms * 1000
        edges = []
        for begin_us, level, offsets in ((start_us, 0, bounce), (end_us, 1, release_bounce)):
            for n, offset in enumerate((0, *offsets)):
                edges.append((begin_us + offset, slot, level ^ n % 2))
        self.edges(edges)

    def edges(self, edges: Iterable[tuple[int, int, int]]) -> None:
        """Raw edges on the buttons: (world_us, slot, level), level 0 pressed; any order."""
        pins = self.spec.button_pins[: self.spec.buttons]
        self._add_edges(
            [
                (world_us, pins[slot], level)
                for world_us, slot, level in edges
                if f"button {slot + 1}" not in self.spec.broken
            ]
        )

    # Infra-red

    def see(self, light: Iterable[tuple[int, int]]) -> None:
        """Shows its receiver light: world times from and to, in order, none touching another."""
        pin = self.spec.receiver_pin
        self._add_edges([(at_us, pin, n) for span in light for n, at_us in enumerate(span)])

    def _add_edges(self, edges: list[tuple[int, int, int]]) -> None:
        with self._world.lock:
            if self._feed.add(edges):
                self._send_edges(self.seen_us)

    def _send_edges(self, past_us: int) -> None:
        if self.process:
            horizon_us, page = self._feed.next_page(past_us)
            self.process.send(frames.EDGES, 0, horizon_us, 0, page)

    # The world's side; all but send_pace in the relay's thread

    def send_pace(self) -> None:
        """Tells the process how time goes now; the world's lock is held."""
        world, process = self._world, self.process
        if process is None:
            return
        if world.jump_to_us is None:
            pace = world.clock.pace
            process.send(frames.FLOW, pace.speed, pace.base_us, pace.base_mono_us)
        else:
            process.send(frames.RUN, 0, world.jump_to_us, 0)

    def read_control(self, process: BoxProcess) -> None:
        """Takes what the process says of itself and its parts."""
        self.heard_at_s = time.monotonic()
        if not process.receive(self._take) and self.process is process:
            process.end()
            self.wire.drain_box(process.stdout)
            self.failure = self._fault("stopped by itself")
            self._lose_power(self.seen_us)

    def read_output(self, process: BoxProcess) -> None:
        """Moves what the box printed towards the host."""
        if not self.wire.read_box(process.stdout):
            self.read_control(process)

    def _launch(self, at_us: int, cause: int) -> None:
        spec, world = self.spec, self._world
        paths = [standin_root(), *compiled(import_paths(spec.firmware or firmware_root()))]
        with world.lock:
            levels = self._feed.restart(at_us)
            rtc_state = self.rtc.gain_supply(at_us) if self.rtc else None
            config = spec.configuration(at_us, cause, levels, self._battery_mv, rtc_state)
            self._has_started = False
            self.reached_us, self.seen_us = -1, at_us
            self.heard_at_s = time.monotonic()
            self.process = BoxProcess(paths, self._stderr)
            self.process.send(frames.CONFIG, 0, 0, 0, json.dumps(config).encode())
            if world.jump_to_us is not None:
                self.process.send(frames.FLOW, 0, at_us, world.clock.pace.base_mono_us)
            self.send_pace()

    def _reset(self, at_us: int, cause: int) -> None:
        # Held throughout, so that nobody takes the moment without a process for a power cut.
        with self._world.changed:
            self._end(at_us)
            if self._wants_plug:
                self.wire.plug()
            self._launch(at_us, cause)

    def _cut(self, world_us: int) -> None:
        if self.process:
            self.process.end()
            # What the clock was told before the cut still counts: it outlives the box's power.
            while self.process.receive(self._take_last):
                pass
        self._lose_power(world_us)

    def _take_last(self, kind: int, arg: int, at_us: int, value: int, body: bytes) -> None:
        if self.rtc and kind == frames.I2C and arg == RTC_ADDRESS:
            self.rtc.take(body, at_us)

    def _lose_power(self, world_us: int) -> None:
        if self.rtc:
            self.rtc.lose_supply(world_us)
        self._end(world_us)

    def _end(self, world_us: int) -> None:
        process, self.process = self.process, None
        if process:
            process.close()
        self.wire.unplug()
        self.parts.lose_power(world_us)
        with self._world.changed:
            self._world.changed.notify_all()

    def _take(self, kind: int, arg: int, at_us: int, value: int, body: bytes) -> None:
        self.seen_us = max(self.seen_us, at_us)
        if kind == frames.MORE:
            with self._world.lock:
                self._send_edges(value)
        elif kind == frames.RESET:
            self._reset(at_us, arg)
        elif kind == frames.CUT:
            self._lose_power(at_us)
        elif kind in (frames.START, frames.REACHED):
            with self._world.changed:
                self._has_started = True
                if kind == frames.REACHED:
                    self.reached_us = at_us
                self._world.changed.notify_all()
        else:
            self.parts.take(kind, arg, at_us, value, body)

    def _fault(self, what: str) -> BoxError:
        """A firmware that fails may say so on either line, as tracebacks end: look at both."""
        said = f"{self.stderr_text()}\n{self.wire.last_words}".splitlines()
        faults = [line.strip() for line in said if _FAULT.match(line)]
        last = f", saying: {faults[-1]}" if faults else ""
        return BoxError(self.name, f"the virtual box {what}{last}", "Cut its power and restore it")
