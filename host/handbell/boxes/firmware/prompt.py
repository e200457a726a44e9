"""MicroPython's prompt on a board: runs code there and writes files, through mpremote."""

from __future__ import annotations

import contextlib
import io
import struct
import time
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Protocol

from handbell.base.errors import BoxError, HandbellError
from handbell.base.extras import install

from . import onboard

if TYPE_CHECKING:
    from mpremote.transport_serial import SerialTransport  # type: ignore[import-untyped]

SILENT_S = 2  # how long a byte that must come may take; an erase holds a board up for 0.4 s
ENTER_S = 5  # to reach the prompt, tried twice: a firmware that leaves may swallow the first
RUN_S = 30  # to run a piece of code that prints nothing until its end
STEP_S = 60  # that one step may take whatever comes meanwhile: a board may talk without end
STEP_BYTES = 1 << 20  # that may come in one step
CHUNK = 1024


class Prompt(Protocol):
    """A board whose prompt answers. Every method raises BoxError when it no longer does."""

    def run(self, code: str) -> str:
        """Run code on the board and return what it printed."""
        ...

    def write(self, path: str, data: bytes) -> None:
        """Write a file of the board anew."""
        ...

    def restart(self) -> None:
        """Start the board's main.py as at power-up and let go of the port."""
        ...

    def boot(self) -> None:
        """Start the board in its boot mode, in which it has no prompt, and let go of the port."""
        ...

    def close(self) -> None:
        """Let go of the port; once is enough, twice does no harm."""
        ...


class NoPromptError(BoxError):
    """Nothing on this port answers as MicroPython does."""


class SerialPrompt:
    """The prompt at a serial port. Raises NoPromptError when nothing answers there."""

    def __init__(self, url: str) -> None:
        try:
            from mpremote.transport_serial import SerialTransport
        except ImportError as error:
            raise HandbellError(
                "mpremote is not here, which speaks to boards",
                install("boards"),
            ) from error
        self._url = url
        self._open = False
        with self._guarded():
            self._transport: SerialTransport = SerialTransport(url, timeout=SILENT_S)
        self._open = True
        self._limited = _Limited(self._transport.serial)
        self._transport.serial = self._limited
        for last in (False, True):
            try:
                with self._guarded(3 * ENTER_S):
                    self._transport.enter_raw_repl(timeout_overall=ENTER_S)
                return
            except BoxError as error:
                if last:
                    self.close()
                    raise NoPromptError(url, "MicroPython's prompt does not answer") from error

    def run(self, code: str) -> str:
        """Run code on the board and return what it printed."""
        with self._guarded():
            said, complaint = self._transport.exec_raw(code, timeout=RUN_S)
        if complaint:
            raise refused(self._url, complaint.decode(errors="replace"))
        return bytes(said).decode(errors="replace")

    def write(self, path: str, data: bytes) -> None:
        """Write a file of the board anew."""
        with self._guarded():
            self._transport.fs_writefile(path, data, chunk_size=CHUNK)

    def restart(self) -> None:
        """Start main.py by a soft reset, which keeps the USB port, and let go of the port."""
        with self._guarded():
            self._transport.exit_raw_repl()
            self._transport.serial.write(b"\x04")
            self._transport.read_until(1, b"soft reboot\r\n", timeout=SILENT_S)
        self.close()

    def boot(self) -> None:
        """Start the board in its boot mode, which takes the port away, and let go of it."""
        with self._guarded():
            self._transport.exec_raw_no_follow(onboard.BOOT)
        self.close()

    def close(self) -> None:
        """Let go of the port."""
        if self._open:
            self._open = False
            self._transport.serial = self._limited.port
            with contextlib.suppress(OSError):
                self._transport.close()

    @contextlib.contextmanager
    def _guarded(self, step_s: float | None = None) -> Iterator[None]:
        """Turn what mpremote raises into a BoxError, and keep its own prints to itself."""
        from mpremote.transport import (  # type: ignore[import-untyped]
            TransportError,
            TransportExecError,
        )

        if self._open:
            self._limited.begin(step_s or STEP_S)
        try:
            with contextlib.redirect_stdout(io.StringIO()):
                yield
        except TransportExecError as error:
            raise refused(self._url, error.error_output) from error
        except (TransportError, OSError, ValueError, struct.error) as error:
            raise broke_off(self._url) from error


class _Limited:
    """A port that ends a step which lasts too long or brings too much: mpremote would go on."""

    def __init__(self, port: Any) -> None:
        self.port = port
        self.begin(STEP_S)

    def begin(self, step_s: float) -> None:
        """Begin a step."""
        self._until_s = time.monotonic() + step_s
        self._left = STEP_BYTES

    def read(self, size: int = 1) -> bytes:
        """Read as the port does; raises OSError when the step has had its share."""
        data: bytes = self.port.read(size)
        self._left -= len(data)
        if self._left < 0 or time.monotonic() > self._until_s:
            raise OSError("the board talks without end")
        return data

    def __getattr__(self, name: str) -> Any:
        return getattr(self.port, name)


def refused(url: str, said: str) -> BoxError:
    """Return the error for code that failed on the board, which ``said`` a traceback."""
    if "ENOSPC" in said or "OSError: 28" in said:
        return BoxError(url, "the board has no room left", "Run handbell collect to empty it")
    last = (said.strip().splitlines() or ["nothing"])[-1]
    return BoxError(url, f"the board failed, saying: {last}", "Run handbell prepare again")


def broke_off(url: str) -> BoxError:
    """Return the error for a board that no longer answers."""
    return BoxError(
        url,
        "the board stopped answering",
        "Plug it in anew and run handbell prepare again, which goes on where this ended",
    )
