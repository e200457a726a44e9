"""One box on one port: framed requests and replies, repeated until answered."""

from __future__ import annotations

import secrets
from types import TracebackType
from typing import Any, TypeVar

import serial

from handbell.base.errors import BoxError
from handbell_core import faults, frames

from . import replies
from .hostclock import HostClock, SystemClock
from .messages import Hello
from .replies import KERNEL, Kind, fault_code
from .words import fault_error, other_version

REPLY_S = 0.7
TRIES = 4
QUICK_S = 0.2  # an answer within it counts a tenth of what it took
PATIENCE_S = 180.0  # for all answers between two greetings, taken together

M = TypeVar("M")


IN_USE_REMEDY = "Close it and try again"


class HiddenError(BoxError):
    """A port behind which there may be a box of ours that is not to be had as things are."""


class InUseError(HiddenError):
    """A port that another program has open; its box is not to be reached before that ends."""


class Connection:
    """An open link to a box; a context manager.

    Raises BoxError from every method when the box is gone, silent, or refuses.
    """

    def __init__(self, url: str, clock: HostClock | None = None) -> None:
        self.url = url
        self.clock: HostClock = clock or SystemClock()
        self.label = url
        self.who = Hello("")  # who is there, once it was asked
        self.clock_moved_s = 0  # the most by which it was told another time than it had
        self.ours = True  # whether it has our link, as far as it was asked
        self._patience_us = round(PATIENCE_S * 1e6)
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

    def hello(self, tries: int = 3) -> Hello:
        """Ask who is there, and remember it, its label and whether it has our link."""
        self._patience_us = round(PATIENCE_S * 1e6)
        who = self.ask(replies.HELLO, tries)
        self.label = who.label or label_of(who)
        self.who = who
        return who

    def ask(self, kind: Kind[M], tries: int = TRIES, **fields: Any) -> M:
        """Send a request until it is answered and return the message in the reply.

        A box with another link is asked only for what every box answers.
        """
        return self.timed_ask(kind, tries, **fields)[0]

    def timed_ask(self, kind: Kind[M], tries: int = TRIES, **fields: Any) -> tuple[M, int, int]:
        """Return (message, mono_us just before the request left, mono_us when the reply came)."""
        asked = {**kind.more, **fields}
        reply, sent_us, came_us = self._exchange(kind.do, tries, asked)
        message = replies.read(self.label, kind, asked, reply, self.ours)
        if isinstance(message, Hello):
            self.ours = message.ours
        return message, sent_us, came_us

    def request(self, do: str, tries: int = TRIES, **fields: Any) -> dict[str, Any]:
        """Return a reply as it came, which nobody has judged: for those who make boxes."""
        return self._exchange(do, tries, fields)[0]

    def _exchange(
        self, do: str, tries: int, fields: dict[str, Any]
    ) -> tuple[dict[str, Any], int, int]:
        if not self.ours and do not in KERNEL:
            raise other_version(self.label, self.who)
        self._number += 1
        line = frames.encode({"q": self._number, "s": self._session, "do": do, **fields})
        if len(line) > frames.LONGEST:
            raise BoxError(self.label, f"the request {do} is too long to send")
        try:
            for _ in range(tries):
                sent_us = self.clock.mono_us()
                self._port.write(line)
                reply = self._wait(self._number)
                self._be_patient(self.clock.mono_us() - sent_us)
                if reply is not None:
                    code = fault_code(self.label, reply)
                    if code:
                        raise fault_error(self.label, code)
                    return reply, sent_us, self._came_us
        except (serial.SerialException, OSError) as error:
            if not self.who.id and "://" in self.url:  # a socket serves one, and hangs up on others
                raise InUseError(
                    self.url, "hangs up: another program may be using this port", IN_USE_REMEDY
                ) from error
            raise BoxError(
                self.label,
                "was unplugged",
                "Plug it in and run the command again; what was done is kept",
            ) from error
        known = bool(self.who.id)
        raise BoxError(
            self.label,
            "does not answer" if known else "no Handbell box answers on this port",
            "Unplug it and plug it in again"
            if known
            else "Check the port, or run handbell prepare on a new board",
        )

    def _be_patient(self, took_us: int) -> None:
        """Give up on a box that answers slowly again and again: no dialogue lasts for ever."""
        self._patience_us -= took_us if took_us > QUICK_S * 1e6 else took_us // 10
        if self._patience_us < 0:
            raise BoxError(
                self.label,
                "answers far too slowly",
                "Unplug it and plug it in again, straight into the computer",
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
            part = self.ask(replies.GET, of=of, name=name, at=len(data), n=frames.CHUNK)
            if not part or (len(part) < frames.CHUNK and len(data) + len(part) < size):
                raise fault_error(self.label, faults.NOT_WHOLE)
            data += part
        return bytes(data)


def label_of(who: Hello) -> str:
    """Return what one without a label is called."""
    if who.remote:
        return "Remote"
    return f"Box {who.station}" if who.station else f"Box {who.id[-4:]}"


def _cant_open(url: str, error: Exception) -> BoxError:
    text = str(error).lower()
    in_use = ("exclusive", "busy", "temporarily unavailable", "access is denied")  # Windows: denied
    if any(words in text for words in in_use):
        return InUseError(url, "another program is using this port", IN_USE_REMEDY)
    if "permission" in text:
        return HiddenError(
            url,
            "you may not open this port",
            "On Linux add yourself to the group dialout, log out and in again",
        )
    if "no such file" in text or "could not open" in text or "filenotfound" in text:
        return BoxError(
            url, "there is no such port", "Plug the box in and look with handbell boxes"
        )
    return BoxError(url, f"the port can't be opened ({error})", "Check the cable and the address")
