"""The wire: frames in and out on USB serial, never waiting for the other side.

Input is always drained, a little a pass. Output goes only when the host was heard from lately and
the port takes it: a host that holds the port open and reads nothing must not stop the loop.
"""

import select
import sys
import time

import micropython

from handbell_core.frames import FrameReader, encode
from handbell_core.ticks import ticks_diff

BYTES_A_PASS = 96
HEARD_US = 2_000_000
BREAK = 3  # Ctrl-C


class Link:
    """Frames over stdin and stdout."""

    def __init__(self) -> None:
        micropython.kbd_intr(-1)
        self._in = sys.stdin.buffer
        self._out = sys.stdout.buffer
        self._can_read = select.poll()
        self._can_read.register(sys.stdin, select.POLLIN)
        self._can_write = select.poll()
        self._can_write.register(sys.stdout, select.POLLOUT)
        self._one = bytearray(1)
        self._line = bytearray(BYTES_A_PASS)
        self._frames = FrameReader()
        self._waiting: list[dict] = []
        self._heard = time.ticks_us()
        self._spoken_to = False
        self.arrived = 0
        self._fresh = True
        self.broke = False
        self.more = False

    def has_input(self) -> bool:
        """Whether bytes wait to be taken in."""
        for _, event in self._can_read.ipoll(0):
            return bool(event & select.POLLIN)
        return False

    def poll(self, most: int, at_rest: bool) -> None:
        """Take in what has come, at most ``most`` bytes (53 us each on the chip).

        At rest nothing is taken after a Ctrl-C: it may be for the prompt.
        """
        self.more = False
        n = 0
        one, line = self._one, self._line
        while n < most:
            got = 0
            for _, event in self._can_read.ipoll(0):
                if event & select.POLLIN:
                    got = self._in.readinto(one)  # type: ignore[union-attr]
            if not got:
                break
            if one[0] == BREAK:
                self.broke = True
            if self._fresh:
                self.arrived = time.ticks_us()
                self._fresh = False
            line[n] = one[0]
            n += 1
            if self.broke and at_rest:
                break
            if one[0] == 10:
                self._fresh = True
                self.more = True
                break
        if n:
            self.more = self.more or n == most
            self._waiting.extend(self._frames.feed(bytes(line[:n])))

    def arrived_at(self) -> int:
        """Return the tick at which the last request began to come in."""
        return self.arrived

    def waits(self) -> bool:
        """Whether a request waits to be answered."""
        return bool(self._waiting)

    def request(self):
        """Return the next request that has come, or None."""
        if not self._waiting:
            return None
        self._heard = time.ticks_us()
        self._spoken_to = True
        return self._waiting.pop(0)

    def send(self, message: dict) -> bool:
        """Send a reply; False (and nothing sent) when the port doesn't take it."""
        if ticks_diff(time.ticks_us(), self._heard) > HEARD_US:
            return False
        for _, event in self._can_write.ipoll(0):
            if event & select.POLLOUT:
                self._out.write(encode(message))
                return True
        return False

    def linked(self, tick: int) -> bool:
        """Whether a host spoke in the last two seconds."""
        if self._spoken_to and ticks_diff(tick, self._heard) > HEARD_US:
            self._spoken_to = False
        return self._spoken_to

    def close(self) -> None:
        """Give Ctrl-C its meaning back."""
        micropython.kbd_intr(BREAK)
