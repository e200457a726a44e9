"""The wire: frames in and out on USB serial, never waiting for the other side.

Input is always drained, a little a pass. Output goes in pieces, as the port takes them. The port
says no more than that it has room for a byte, and a write of more waits for the rest, up to 500 ms
for each 64 bytes (MicroPython, shared/tinyusb/mp_usbd_cdc.c). So in class, where a host that holds
the port open and reads nothing must not stop the loop, a piece is one byte.
"""

import select
import sys
import time

import micropython

from handbell_core.frames import FrameReader, encode
from handbell_core.ticks import ticks_diff

BYTES_A_PASS = 96
PIECE = 64  # bytes written at once where no class can suffer from a wait
STUCK_US = 2_000_000  # a reply of which the port takes nothing for so long is given up
AGAIN_US = 2_000  # a port without room is looked at so often
WAITING = 4  # requests of a host that does not wait for its replies; older ones are forgotten
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
        self._piece = PIECE
        self._byte = bytearray(1)
        self._reply = memoryview(b"")
        self._left = 0  # bytes at its end that are still to be sent
        self._moved = self._tried = 0  # when the port last took some of it, and was tried last
        self._torn = False  # the last reply was given up in the middle of its line
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
        """Send on what is left of a reply and take in what has come, at most ``most`` bytes each.

        A byte in takes 53 us on the chip. At rest nothing is taken after a Ctrl-C: it may be for
        the prompt.
        """
        self._piece = PIECE if at_rest else 1
        self._send_on(most)
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
            if len(self._waiting) > WAITING:
                self._waiting.pop(0)

    def arrived_at(self) -> int:
        """Return the tick at which the last request began to come in."""
        return self.arrived

    def waits(self) -> bool:
        """Whether a request waits that can be answered now: the last reply is out."""
        return bool(self._waiting) and not self._left

    def request(self):
        """Return the next request that has come, or None."""
        if not self._waiting:
            return None
        self._heard = time.ticks_us()
        self._spoken_to = True
        return self._waiting.pop(0)

    def send(self, message: dict) -> None:
        """Begin to send a reply and return at once; ``poll`` sends on what the port didn't take."""
        line = encode(message)
        if self._torn:
            line = b"\n" + line  # ends the line that was given up
            self._torn = False
        self._reply, self._left = memoryview(line), len(line)
        self._moved = time.ticks_us()
        self._send_on(len(line) if self._piece > 1 else BYTES_A_PASS)

    def reply_due_us(self, tick: int) -> int:
        """Return in how many microseconds the port is tried again, -1 with all replies out."""
        return max(0, AGAIN_US - ticks_diff(tick, self._tried)) if self._left else -1

    def _send_on(self, most: int) -> None:
        reply, byte = self._reply, self._byte
        self._tried = time.ticks_us()
        while most > 0 and self._left:
            at = len(reply) - self._left
            took = 0
            for _, event in self._can_write.ipoll(0):
                if not event & select.POLLOUT:
                    continue
                if self._piece > 1:
                    took = self._out.write(reply[at : at + self._piece])
                else:  # without a slice: a byte must take no memory
                    byte[0] = reply[at]
                    took = self._out.write(byte)
            if not took:
                if ticks_diff(time.ticks_us(), self._moved) > STUCK_US:
                    self._left, self._torn = 0, True
                return
            self._left -= took
            self._moved = time.ticks_us()
            most -= took

    def linked(self, tick: int) -> bool:
        """Whether a host spoke in the last two seconds."""
        if self._spoken_to and ticks_diff(tick, self._heard) > HEARD_US:
            self._spoken_to = False
        return self._spoken_to

    def close(self) -> None:
        """Give Ctrl-C its meaning back."""
        micropython.kbd_intr(BREAK)
