"""One box on one port: framed requests and replies, repeated until answered."""

from __future__ import annotations

import binascii
import secrets
from types import TracebackType
from typing import Any

import serial

from handbell.base.errors import BoxError
from handbell.boxes.clocks.hostclock import HostClock, SystemClock
from handbell_core import faults, frames

from .replies import KERNEL, checked, fault_code, speaks_ours
from .words import fault_error, other_version

REPLY_S = 0.7
TRIES = 4


class Connection:
    """An open link to a box; a context manager.

    Raises BoxError from every method when the box is gone, silent, or refuses.
    """

    def __init__(self, url: str, clock: HostClock | None = None) -> None:
        self.url = url
        self.clock: HostClock = clock or SystemClock()
        self.label = url
        self.facts: dict[str, Any] = {}
        self.ours = True  # whether it has our link, as far as it was asked
        self._session = secrets.token_hex(3)
        self._number = 0
        self._reader = frames.FrameReader()
        self._replies: list[dict[str, Any]] = []
        self._came_us = 0
        options: dict[str, Any] = {} if "://" in url else {"exclusive": True}
        try:
            self._port = serial.serial_for_url(url, timeout=0.02, write_timeout=2, **options)
        except (serial.SerialException, OSError, ValueError) as error:
            raise _cant_open(url, error) from error

    def __enter__(self) -> Connection:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the port."""
        self._port.close()

    def hello(self, tries: int = 3) -> dict[str, Any]:
        """Ask who is there, and remember its facts, its label and whether it has our link."""
        facts = self.request("hello", tries)
        station, label = facts.get("station", 0), facts.get("label", "")
        self.label = label or (f"Box {station}" if station else f"Box {facts['id'][-4:]}")
        self.facts = facts
        return facts

    def request(self, do: str, tries: int = TRIES, **fields: Any) -> dict[str, Any]:
        """Send a request until it is answered and return the reply's facts, each checked.

        A box with another link is asked only for what every box answers.
        """
        return self.timed_request(do, tries, **fields)[0]

    def timed_request(
        self, do: str, tries: int = TRIES, **fields: Any
    ) -> tuple[dict[str, Any], int, int]:
        """Return (reply, mono_us just before the request left, mono_us when the reply came)."""
        if not self.ours and do not in KERNEL:
            raise other_version(self.label, self.facts)
        self._number += 1
        message = {"q": self._number, "s": self._session, "do": do, **fields}
        line = frames.encode(message)
        if len(line) > frames.LONGEST:
            raise BoxError(self.label, f"the request {do} is too long to send")
        try:
            for _ in range(tries):
                sent_us = self.clock.mono_us()
                self._port.write(line)
                reply = self._wait(self._number)
                if reply is not None:
                    code = fault_code(self.label, reply)
                    if code:
                        raise fault_error(self.label, code)
                    if do == "hello":
                        self.ours = speaks_ours(reply)
                    facts = checked(self.label, message, reply, self.ours)
                    return facts, sent_us, self._came_us
        except (serial.SerialException, OSError) as error:
            raise BoxError(
                self.label,
                "was unplugged",
                "Plug it in and run the command again; what was done is kept",
            ) from error
        raise BoxError(
            self.label,
            "does not answer" if self.facts else "no Handbell box answers on this port",
            "Unplug it and plug it in again"
            if self.facts
            else "Check the port, or run handbell prepare on a new board",
        )

    def _wait(self, number: int) -> dict[str, Any] | None:
        give_up_us = self.clock.mono_us() + int(REPLY_S * 1e6)
        while True:
            for reply in self._replies:
                if (
                    reply.get("q") == number
                    and reply.get("s") == self._session
                    and "do" not in reply
                ):
                    self._replies.clear()
                    return reply
            self._replies.clear()
            if self.clock.mono_us() > give_up_us:
                return None
            data = self._port.read(max(1, self._port.in_waiting))
            self._came_us = self.clock.mono_us()
            if data:
                self._replies.extend(self._reader.feed(data))

    def fetch(self, of: str, name: str, size: int, have: bytes = b"") -> bytes:
        """Return a whole file of the box, going on after the bytes we ``have``.

        Every answer but the last must be full: a box that gives drops would hold everybody up.
        """
        data = bytearray(have)
        while len(data) < size:
            reply = self.request("get", of=of, name=name, at=len(data), n=frames.CHUNK)
            part = binascii.a2b_base64(reply["b"])
            if not part or (len(part) < frames.CHUNK and len(data) + len(part) < size):
                raise fault_error(self.label, faults.NOT_WHOLE)
            data += part
        return bytes(data)


def _cant_open(url: str, error: Exception) -> BoxError:
    text = str(error).lower()
    if "exclusive" in text or "busy" in text or "temporarily unavailable" in text:
        return BoxError(url, "another program is using this port", "Close it and try again")
    if "permission" in text:
        return BoxError(
            url,
            "you may not open this port",
            "On Linux add yourself to the group dialout, log out and in again",
        )
    if "no such file" in text or "could not open" in text or "filenotfound" in text:
        return BoxError(
            url, "there is no such port", "Plug the box in and look with handbell boxes"
        )
    return BoxError(url, f"the port can't be opened ({error})", "Check the cable and the address")
