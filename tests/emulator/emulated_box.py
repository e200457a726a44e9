"""An emulated box: a real MicroPython image on an emulated RP2040, with parts and the firmware.

Time is the chip's own and moves only inside ``run_to``, ``run_until`` and ``request``.
"""

from __future__ import annotations

import binascii
import dataclasses
import hashlib
import os
import re
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from emulated_parts import HIGH, Bus, Button, Flash, Receiver, Sounder, Strip
from emulated_wire import Wire
from rp2040py.boards import BOARDS, FlashLayout
from rp2040py.device.load_flash import load_micropython_flash_image
from rp2040py.device.mp_device import MicroPythonDevice
from rp2040py.execute_batch import execute_batch

from handbell.boxes.firmware.files import build_image
from handbell.virtual.screen import Screen
from handbell_core import frames

ROOT = Path(__file__).parents[2]
FIRMWARE = ROOT / "firmware"

# The file system of the stock image for the Pico: its place in the flash and its blocks.
LAYOUT = FlashLayout(fs_start=0xA0000, fs_blockcount=352, fs_blocksize=4096)
ENTRY = 0x10000000
LFS_VERSION = 0x00020000
MPY_VERSION = 6

# How the reference box is wired.
BUTTON_PINS = (10, 11, 12, 13)
STRIP_PIN, SOUNDER_PIN, LINE_PIN, ON_USB_PIN, RECEIVER_PIN = 16, 15, 14, 24, 18
BATTERY_ADC = 0
BATTERY_MV = 4_000

UTC_AT_POWER_US = 1_700_000_000_000_000  # what the host's clock says when the power comes on
REPLY_US = 700_000
TRIES = 4


class NoAnswer(Exception):
    """The box did not answer a request."""


class Refused(Exception):
    """The box answered with a fault code."""


def file_system(
    firmware: Path | None = FIRMWARE,
    extra: dict[str, bytes] | None = None,
    folders: Iterable[str] = (),
) -> bytes:
    """Return a littlefs image that holds the firmware (if any) as ``prepare`` compiles it.

    ``extra`` are further files by path, some of them in ``folders``. What the Python among them
    names keeps its name in the firmware.
    """
    from littlefs import LittleFS, UserContext

    lfs = LittleFS(
        context=UserContext(buffsize=LAYOUT.fs_blocksize * LAYOUT.fs_blockcount),
        block_size=LAYOUT.fs_blocksize,
        block_count=LAYOUT.fs_blockcount,
        prog_size=256,
        disk_version=LFS_VERSION,
    )
    if firmware:
        for folder in ("box", "boards", "handbell_core"):
            lfs.mkdir(folder)
        codes = [data.decode() for name, data in (extra or {}).items() if name.endswith(".py")]
        named = {word for code in codes for word in re.findall(r"\w+", code)}
        built = build_image(MPY_VERSION, firmware, keep=named)
        for name, data in {**built.files, "main.py": built.main}.items():
            with lfs.open(name, "wb") as f:
                f.write(data)
    for folder in sorted(folders):
        lfs.makedirs(folder, exist_ok=True)
    for name, data in (extra or {}).items():
        with lfs.open(name, "wb") as f:
            f.write(data)
    lfs.unmount()
    return bytes(lfs.context.buffer)


def read_files(files: bytes) -> dict[str, bytes]:
    """Return every file of a file system by its path, as it is in the flash.

    Raises ``littlefs.LittleFSError`` where there is none.
    """
    from littlefs import LittleFS, UserContext

    context = UserContext(buffsize=len(files))
    context.buffer = bytearray(files)
    lfs = LittleFS(
        context=context,
        block_size=LAYOUT.fs_blocksize,
        block_count=LAYOUT.fs_blockcount,
        prog_size=256,
        mount=False,  # one that can't be mounted would be formatted
    )
    lfs.mount()
    found = {}
    for folder, _, names in lfs.walk("/"):
        for name in names:
            path = f"{folder.strip('/')}/{name}".strip("/")
            with lfs.open(path, "rb") as f:
                found[path] = f.read()
    return found


class EmulatedBox:
    """A box with display, light strip, sounder, line output, buttons and slow flash.

    Without ``files`` it is a board that has nothing but MicroPython. ``total_us`` is the time that
    all boxes have lived through.
    """

    total_us = 0.0

    def __init__(self, image: Path, files: bytes = b"", flash: Flash | None = None) -> None:
        pico = BOARDS["pico"]
        board = dataclasses.replace(pico, firmware=None, image=str(image), layout=LAYOUT)
        self._device = MicroPythonDevice(board=board)
        self._sim, self._mcu = self._device.simulator, self._device.mcu
        if files:
            with tempfile.TemporaryDirectory() as folder:
                path = Path(folder) / "files.img"
                path.write_bytes(files)
                load_micropython_flash_image(path, self._mcu, LAYOUT)
        self.screen = Screen()
        self.bus = Bus(self.screen)
        self.strip = Strip(STRIP_PIN)
        self.sounder, self.line = Sounder(SOUNDER_PIN), Sounder(LINE_PIN)
        self.buttons = [Button(pin) for pin in BUTTON_PINS]
        self.receiver = Receiver(RECEIVER_PIN)
        self.flash = flash or Flash()
        parts = [self.bus, self.strip, self.sounder, self.line, self.receiver, self.flash]
        parts += self.buttons
        for part in parts:
            part.attach(self._mcu)  # type: ignore[attr-defined]
        self._mcu.gpio[ON_USB_PIN].set_input_value(True)
        self._mcu.adc.channel_values[BATTERY_ADC] = BATTERY_MV * 4095 // 6600
        self.wire = Wire(self._device.cdc, self._sim.clock)
        self.wire.on_data = self._heard
        self._reader = frames.FrameReader()
        self._replies: list[dict[str, Any]] = []
        self._came_us = 0.0
        self._number = 0
        self.flash.on_cut = self._halt
        self._mcu.core.pc = ENTRY

    # Time

    @property
    def now_us(self) -> float:
        """Microseconds since power came on."""
        return float(self._sim.clock.nanos) / 1000

    @property
    def utc_us(self) -> int:
        """The host's clock."""
        return UTC_AT_POWER_US + int(self.now_us)

    def _halt(self) -> None:
        self._sim.stopped = True

    def run_to(self, until_us: float) -> None:
        """Let the chip run to that moment (or to a power cut)."""
        self.run_until(lambda: False, until_us - self.now_us)

    def run_until(self, done: Callable[[], bool], most_us: float, every_us: float = 1e12) -> bool:
        """Run until ``done()``, looked at after each byte from the box and ``every_us``."""
        from_us = self.now_us
        end_us = from_us + most_us
        alarm = self._sim.clock.create_alarm(self._halt)
        while not (finished := done()) and self.now_us < end_us and not self.flash.is_dead:
            alarm.schedule(max(0.0, min(every_us, end_us - self.now_us)) * 1000)
            self._sim.stopped = False
            while not self._sim.stopped:
                execute_batch(self._sim, TICK_BATCH)
            alarm.cancel()
        EmulatedBox.total_us += self.now_us - from_us
        return finished

    def listen(self, pin: int, rises_us: list[float]) -> None:
        """Note from now on in ``rises_us`` when a pin is driven high."""

        def edge(new: int, old: int) -> None:
            if new == HIGH:
                rises_us.append(self.now_us)

        self._mcu.gpio[pin].add_listener(edge)

    # The wire

    def _heard(self, data: bytes) -> None:
        self._came_us = self.now_us
        # MicroPython's prompt sends back what it was sent.
        self._replies += [m for m in self._reader.feed(data) if "do" not in m]
        self._halt()

    @property
    def heard(self) -> bytearray:
        """All that the box has said."""
        return self.wire.heard

    def write(self, data: bytes) -> None:
        """Put bytes on the wire; they go as the box takes them."""
        self.wire.write(data)

    def request(self, do: str, tries: int = TRIES, **fields: Any) -> dict[str, Any]:
        """Send a request until it is answered; raises NoAnswer or Refused."""
        return self.timed_request(do, tries, **fields)[0]

    def timed_request(
        self, do: str, tries: int = TRIES, **fields: Any
    ) -> tuple[dict[str, Any], float, float]:
        """Return (reply, when the request left, when the reply came)."""
        self._number += 1
        line = frames.encode({"q": self._number, "s": "emu", "do": do, **fields})
        for _ in range(tries):
            self._replies.clear()
            sent_us = self.now_us
            self.write(line)
            if self.run_until(self._answered, REPLY_US):
                reply = next(r for r in self._replies if r.get("q") == self._number)
                if "no" in reply:
                    raise Refused(f"{do}: fault {reply['no']}")
                return reply, sent_us, self._came_us
        raise NoAnswer(do)

    def _answered(self) -> bool:
        return any(r.get("q") == self._number for r in self._replies)

    # What a host does

    def until_ready(self, most_us: float = 20e6) -> float:
        """Ask until the box answers; return when it did."""
        end_us = self.now_us + most_us
        while self.now_us < end_us:
            try:
                self.request("hello", tries=1)
                return self._came_us
            except NoAnswer:
                pass
        raise NoAnswer("hello; it said: " + self.heard[-2000:].decode(errors="replace"))

    def send(self, timeline: bytes) -> str:
        """Send a timeline, make it the one to play, and return its digest in hex."""
        digest = hashlib.sha256(timeline).digest()[:12].hex()
        at = self.request("put", d=digest, n=len(timeline))["at"]
        while 0 <= at < len(timeline):
            part = binascii.b2a_base64(timeline[at : at + frames.CHUNK]).decode().rstrip()
            at = self.request("put", d=digest, n=len(timeline), at=at, b=part)["at"]
        self.request("keep", d=digest)
        return digest

    def set_clock(self, exchanges: int = 8) -> int:
        """Set the box's clock by the quickest of some exchanges; return the bound in us."""
        best: tuple[float, float, int] | None = None
        for _ in range(exchanges):
            reply, sent_us, came_us = self.timed_request("time")
            round_us = came_us - sent_us - (reply["t3"] - reply["t2"])
            if best is None or round_us < best[0]:
                best = (round_us, (sent_us + came_us) / 2, (reply["t2"] + reply["t3"]) // 2)
        assert best is not None
        bound_us = int(best[0] / 2) + 1
        utc_us = UTC_AT_POWER_US + int(best[1])
        self.request("clock", utc_us=utc_us, box_us=best[2], ppb=0, bound_us=bound_us, tz_s=0)
        return bound_us

    def arm(self, digest: str, in_s: int = 5) -> int:
        """Arm a class; return its start in microseconds since power came on."""
        start_ms = (self.utc_us // 1_000_000 + in_s) * 1000
        self.request("arm", d=digest, utc_ms=start_ms)
        return start_ms * 1000 - UTC_AT_POWER_US

    def journals(self) -> list[bytes]:
        """Return every finished journal, without erasing it."""
        out: list[bytes] = []
        while "name" in (entry := self.request("list", of="runs", i=len(out))):
            data = bytearray()
            while not entry.get("open") and len(data) < entry["size"]:
                got = self.request(
                    "get", of="runs", name=entry["name"], at=len(data), n=frames.CHUNK
                )
                data += binascii.a2b_base64(got["b"])
            out.append(bytes(data))
        return out

    def files(self) -> bytes:
        """Return the file system as it is in the flash, to start another box from."""
        end = LAYOUT.fs_start + LAYOUT.fs_blocksize * LAYOUT.fs_blockcount
        return bytes(self._mcu.flash[LAYOUT.fs_start : end])


TICK_BATCH = int(os.environ.get("RP2040PY_CLOCK_TICK_BATCH", "1"))
