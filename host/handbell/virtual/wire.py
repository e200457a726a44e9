"""The USB cable between a host and a box: bytes both ways."""

from __future__ import annotations

import contextlib
import os

from handbell.virtual.ports import Port

# How much may wait on its way before the sender is left waiting.
_ROOM = 512
_LAST_WORDS = 2000
# More than fit into the pipe of its output.
_OUTPUT_PIECES = 200


class Wire:
    """One box's cable; everything belongs to the relay's thread."""

    def __init__(self, port: Port) -> None:
        self.port = port
        self.is_plugged = False
        self._to_box = bytearray()
        self._to_host = bytearray()
        self._tail = b""

    @property
    def last_words(self) -> str:
        """The end of what the box said, to whomever."""
        return self._tail.decode("utf-8", "replace")

    def plug(self) -> None:
        """Makes the port appear."""
        if not self.is_plugged:
            self.port.open()
            self.is_plugged = True

    def unplug(self) -> None:
        """Makes the port vanish; what was on its way is lost."""
        if self.is_plugged:
            self.is_plugged = False
            self.port.close()
        self._to_box.clear()
        self._to_host.clear()

    @property
    def host_open(self) -> bool:
        """Whether a host has the port open."""
        return self.is_plugged and self.port.host_open

    @property
    def waits_for_box(self) -> bool:
        """Whether bytes of the host's haven't reached the box yet."""
        return bool(self._to_box)

    @property
    def waits_for_host(self) -> bool:
        """Whether bytes of the box's haven't reached the host yet."""
        return bool(self._to_host) and self.host_open

    def host_fds(self) -> list[int]:
        """The port's descriptors to read from, none while the box is behind."""
        return self.port.fds() if self.is_plugged and len(self._to_box) < _ROOM else []

    @property
    def takes_output(self) -> bool:
        """Whether the box's output may be read; a host that doesn't read stops it."""
        return len(self._to_host) < _ROOM or not self.host_open

    def read_host(self, fd: int, stdin: int) -> bool:
        """Moves what the host sent on towards the box; says if there was anything."""
        data = self.port.read(fd)
        came = bool(data)
        self._to_box += data
        self.write_box(stdin)
        return came

    def write_box(self, stdin: int) -> None:
        """Gives the box what it takes."""
        if self._to_box:
            with contextlib.suppress(BlockingIOError):
                try:
                    del self._to_box[: os.write(stdin, self._to_box)]
                except BrokenPipeError:
                    self._to_box.clear()

    def read_box(self, stdout: int) -> bool:
        """Moves what the box said on towards the host, or nowhere; False at the box's end."""
        try:
            data = os.read(stdout, _ROOM)
        except BlockingIOError:
            return True
        self._tail = (self._tail + data)[-_LAST_WORDS:]
        if self.host_open:
            self._to_host += data
            self.write_host()
        else:
            self._to_host.clear()
        return bool(data)

    def lose_output(self, stdout: int) -> None:
        """Takes what the box said while no host listened, so that none hears it later."""
        with contextlib.suppress(BlockingIOError):
            while data := os.read(stdout, _ROOM):
                self._tail = (self._tail + data)[-_LAST_WORDS:]
        self._to_host.clear()

    def drain_box(self, stdout: int) -> None:
        """Takes all that an ended box said."""
        for _ in range(_OUTPUT_PIECES):
            if not self.read_box(stdout):
                return

    def write_host(self) -> None:
        """Gives the host what it takes."""
        if self._to_host:
            del self._to_host[: self.port.write(bytes(self._to_host))]
