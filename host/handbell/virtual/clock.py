"""The world's clock, for the world's own process and for others on the machine."""

from __future__ import annotations

import json
import threading
import time
from dataclasses import dataclass
from pathlib import Path

from handbell.base.errors import HandbellError
from handbell.base.files import write_whole

NUMBER_MOST = 1 << 53


@dataclass(frozen=True)
class Pace:
    """How world time goes: from `base_us` at monotonic `base_mono_us`, `speed` times as fast.

    At speed 0 the world stands still, as it does for onlookers during a jump.
    """

    base_us: int
    base_mono_us: int
    speed: int

    def world_us(self) -> int:
        """World time now, in microseconds."""
        return self.base_us + (machine_us() - self.base_mono_us) * self.speed


def machine_us() -> int:
    """The machine's monotonic clock in microseconds, the same in every process."""
    return time.monotonic_ns() // 1000


class WorldClock:
    """The clock of a world in this process; its world sets `pace`."""

    def __init__(self, start_utc_us: int, pace: Pace) -> None:
        self.start_utc_us = start_utc_us
        self.pace = pace
        self._lock = threading.Lock()
        self._latest_us = 0

    def mono_us(self) -> int:
        """World time in microseconds since the world began; never goes back."""
        with self._lock:
            self._latest_us = max(self._latest_us, self.pace.world_us())
            return self._latest_us

    def utc_us(self) -> int:
        """UTC in microseconds since 1970, as the world has it."""
        return self.start_utc_us + self.mono_us()

    def sleep(self, seconds: float) -> None:
        """Waits until `seconds` of world time have gone by."""
        end_us = self.mono_us() + round(seconds * 1_000_000)
        while (left_us := end_us - self.mono_us()) > 0:
            time.sleep(left_us / 1e6 / self.pace.speed if self.pace.speed else 0.01)


class SharedClock(WorldClock):
    """The clock of a world in another process, followed through its file."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._stamp = 0
        start_utc_us, pace = self._read()
        super().__init__(start_utc_us, pace)

    def mono_us(self) -> int:
        """World time in microseconds since the world began; never goes back."""
        try:
            if self._path.stat().st_mtime_ns != self._stamp:
                self.start_utc_us, self.pace = self._read()
        except FileNotFoundError as missing:
            raise _gone(self._path) from missing
        return super().mono_us()

    def _read(self) -> tuple[int, Pace]:
        try:
            self._stamp = self._path.stat().st_mtime_ns
            fields = json.loads(self._path.read_text(encoding="utf-8"))
            numbers = [fields[key] for key in ("start_utc_us", *Pace.__dataclass_fields__)]
            if any(type(number) is not int or abs(number) > NUMBER_MOST for number in numbers):
                raise ValueError
            return numbers[0], Pace(*numbers[1:])
        except FileNotFoundError as missing:
            raise _gone(self._path) from missing
        except (OSError, ValueError, KeyError, TypeError, RecursionError) as fault:
            raise HandbellError(
                f"{self._path} is not a world's clock", "Name the clock.json of a running world"
            ) from fault


def _gone(path: Path) -> HandbellError:
    return HandbellError(
        f"The virtual boxes that kept {path} are gone", "Start them again with handbell virtual"
    )


def load_clock(path: Path) -> SharedClock:
    """The clock of the world that writes `path`; HandbellError when there is none."""
    return SharedClock(path)


def write_clock(path: Path, start_utc_us: int, pace: Pace, urls: dict[str, str]) -> None:
    """Publishes a world's clock and the addresses of its boxes."""
    fields = {
        "start_utc_us": start_utc_us,
        "base_us": pace.base_us,
        "base_mono_us": pace.base_mono_us,
        "speed": pace.speed,
        "boxes": urls,
    }
    write_whole(path, json.dumps(fields))
