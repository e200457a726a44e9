"""One MicroPython process: how it is found, started, spoken to and ended."""

from __future__ import annotations

import contextlib
import os
import shutil
import struct
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

from handbell.base.errors import HandbellError
from handbell.base.extras import install
from handbell.virtual.standin import _frames as frames

# What a Pico has, in objects: the w counts a desktop's wider words.
HEAP = "heapsize=236wk"
_HEAD = struct.Struct(frames.HEAD)
# Small pipes push back as the chip's USB buffers do, instead of swallowing a whole transfer.
_INPUT_PIPE, _OUTPUT_PIPE = 4096, 8192
Handler = Callable[[int, int, int, int, bytes], None]


def find_micropython() -> Path:
    """The `micropython` command beside this Python, else on PATH; HandbellError without one."""
    if sys.platform == "win32":
        raise HandbellError(
            "Virtual boxes don't run on Windows itself", "Run handbell inside WSL for them"
        )
    beside = Path(sys.executable).parent / "micropython"
    if beside.is_file() and os.access(beside, os.X_OK):
        return beside
    found = shutil.which("micropython")
    if found is None:
        raise HandbellError(
            "Virtual boxes need the micropython command, which is not here",
            install("virtual"),
        )
    return Path(found)


def standin_root() -> Path:
    """The folder of modules that shadow the chip's own."""
    return Path(__file__).parent / "standin"


class BoxProcess:
    """A running box: its serial line, its control channel, its end.

    `stderr` is a file that the process's complaints are added to; `paths` is MICROPYPATH.
    """

    def __init__(self, paths: list[Path], stderr: Path) -> None:
        micropython = find_micropython()
        control_in, self._control_tx = os.pipe()
        self.control_rx, control_out = os.pipe()
        leash, self._leash = os.pipe()
        command = [
            str(micropython),
            "-X",
            HEAP,
            str(standin_root() / "start.py"),
            str(control_in),
            str(control_out),
        ]
        with stderr.open("ab") as log:
            self._popen = subprocess.Popen(
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=log,
                pass_fds=(control_in, control_out, leash),
                env={**os.environ, "MICROPYPATH": os.pathsep.join(map(str, paths))},
                # Ctrl-C in the terminal is for the host; the boxes are ended by their world.
                start_new_session=True,
            )
        _signal_when_closed(leash, self._popen.pid)
        for fd in (control_in, control_out, leash):
            os.close(fd)
        assert self._popen.stdin and self._popen.stdout
        self.stdin = self._popen.stdin.fileno()
        self.stdout = self._popen.stdout.fileno()
        for fd in (self.stdin, self.stdout, self.control_rx):
            os.set_blocking(fd, False)
        _limit_pipe(self.stdin, _INPUT_PIPE)
        _limit_pipe(self.stdout, _OUTPUT_PIPE)
        self._inbox = bytearray()
        self._lock = threading.Lock()

    def send(self, kind: int, arg: int, at_us: int, value: int, body: bytes = b"") -> None:
        """One frame to the box; a box that has ended takes none."""
        with self._lock, contextlib.suppress(BrokenPipeError, OSError):
            os.write(self._control_tx, _HEAD.pack(kind, arg, len(body), at_us, value) + body)

    def receive(self, handle: Handler) -> bool:
        """Reads what the box sent and hands on whole frames; False at its end."""
        try:
            data = os.read(self.control_rx, 1 << 16)
        except BlockingIOError:
            return True
        self._inbox += data
        at = 0
        while len(self._inbox) - at >= _HEAD.size:
            kind, arg, size, at_us, value = _HEAD.unpack_from(self._inbox, at)
            end = at + _HEAD.size + size
            if end > len(self._inbox):
                break
            handle(kind, arg, at_us, value, bytes(self._inbox[at + _HEAD.size : end]))
            at = end
        del self._inbox[:at]
        return bool(data)

    @property
    def pid(self) -> int:
        """The process's number."""
        return self._popen.pid

    @property
    def is_alive(self) -> bool:
        """Whether the process still runs."""
        return self._popen.poll() is None

    def end(self) -> None:
        """Ends it at once, as a lost battery does."""
        self._popen.kill()
        self._popen.wait()

    def close(self) -> None:
        """Ends it and gives its descriptors back."""
        self.end()
        with self._lock:
            for stream in (self._popen.stdin, self._popen.stdout):
                if stream:
                    with contextlib.suppress(OSError):
                        stream.close()
            for fd in (self.control_rx, self._control_tx, self._leash):
                with contextlib.suppress(OSError):
                    os.close(fd)
            self._control_tx = self.control_rx = self._leash = -1


def _signal_when_closed(fd: int, pid: int) -> None:
    """Ends a process when the other end of a pipe is closed, even by a world that was killed.

    A box notices by itself when it next waits; one whose firmware spins never does.
    """
    if sys.platform == "linux":
        import fcntl

        fcntl.fcntl(fd, fcntl.F_SETOWN, pid)
        fcntl.fcntl(fd, fcntl.F_SETFL, fcntl.fcntl(fd, fcntl.F_GETFL) | os.O_ASYNC)


def _limit_pipe(fd: int, size: int) -> None:
    if sys.platform == "linux":
        import fcntl

        set_size = getattr(fcntl, "F_SETPIPE_SZ", None)
        if set_size is not None:
            with contextlib.suppress(OSError):
                fcntl.fcntl(fd, set_size, size)
