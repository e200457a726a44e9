"""The host's clocks, injected wherever one is read: tests and virtual boxes lend their own."""

from __future__ import annotations

import time
from typing import Protocol


class HostClock(Protocol):
    """Wall and monotonic time in microseconds, and a way to wait."""

    def utc_us(self) -> int:
        """Return UTC in microseconds since 1970; may step."""
        ...

    def mono_us(self) -> int:
        """Return microseconds that never step."""
        ...

    def sleep(self, seconds: float) -> None:
        """Wait."""
        ...


class SystemClock:
    """The computer's own clocks."""

    def utc_us(self) -> int:
        """Return UTC in microseconds since 1970; may step."""
        return time.time_ns() // 1000

    def mono_us(self) -> int:
        """Return microseconds that never step."""
        return time.monotonic_ns() // 1000

    def sleep(self, seconds: float) -> None:
        """Wait."""
        time.sleep(seconds)
