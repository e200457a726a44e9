"""The host's side of a box's USB cable: a pty, or a TCP listener on this machine."""

from __future__ import annotations

import contextlib
import errno
import os
import select
import socket
from pathlib import Path
from typing import Protocol

_CHUNK = 512


class Port(Protocol):
    """A serial port that a host may open; used by the relay's thread only."""

    url: str

    @property
    def host_open(self) -> bool:
        """Whether a host has it open."""

    def open(self) -> None:
        """Makes the port appear."""

    def close(self) -> None:
        """Pulls the cable: whoever has the port open gets an end of file or an error."""

    def fds(self) -> list[int]:
        """Descriptors to watch for reading."""

    def refresh(self) -> None:
        """Notices a host that came or went."""

    def read(self, fd: int) -> bytes:
        """What came in on a watched descriptor, b"" for nothing."""

    def write(self, data: bytes) -> int:
        """Sends what can be sent; gives how many bytes went."""

    def write_fd(self) -> int:
        """The descriptor to watch for room."""


class PtyPort:
    """A pty, under a name that stays the same however often the cable is pulled."""

    def __init__(self, link: Path) -> None:
        self._link = link
        self._master = -1
        self.url = str(link)
        self.host_open = False

    def open(self) -> None:
        """Makes the port appear."""
        import pty
        import tty

        self._master, slave = pty.openpty()
        tty.setraw(slave)
        name = os.ttyname(slave)
        # With our own end closed, the master tells by a hang-up whether a host has it open.
        os.close(slave)
        os.set_blocking(self._master, False)
        self._link.parent.mkdir(parents=True, exist_ok=True)
        self._link.unlink(missing_ok=True)
        self._link.symlink_to(name)

    def close(self) -> None:
        """Pulls the cable."""
        self.host_open = False
        if self._master != -1:
            self._link.unlink(missing_ok=True)
            os.close(self._master)
            self._master = -1

    def fds(self) -> list[int]:
        """The master, while a host is there; without one it would report a hang-up for ever."""
        return [self._master] if self.host_open else []

    def refresh(self) -> None:
        """Notices a host that came or went."""
        if self._master == -1:
            return
        watch = select.poll()
        watch.register(self._master, select.POLLIN)
        events = watch.poll(0)
        state = events[0][1] if events else 0
        # Bytes left by a host that has gone again are still to be read.
        self.host_open = not state & select.POLLHUP or bool(state & select.POLLIN)

    def read(self, fd: int) -> bytes:
        """What the host sent."""
        try:
            data = os.read(fd, _CHUNK)
        except BlockingIOError:
            return b""
        except OSError as fault:
            if fault.errno != errno.EIO:
                raise
            data = b""
        if not data:
            self.host_open = False
        return data

    def write(self, data: bytes) -> int:
        """Sends what fits."""
        try:
            return os.write(self._master, data)
        except BlockingIOError:
            return 0
        except OSError:
            self.host_open = False
            return len(data)

    def write_fd(self) -> int:
        """The master."""
        return self._master


class TcpPort:
    """A listener on 127.0.0.1 that serves one client; a second is turned away at once."""

    def __init__(self) -> None:
        self._port = 0
        self._listener: socket.socket | None = None
        self._client: socket.socket | None = None
        self.url = ""

    @property
    def host_open(self) -> bool:
        """Whether a client is connected."""
        return self._client is not None

    def open(self) -> None:
        """Listens, on the same port as before if there was one."""
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(("127.0.0.1", self._port))
        listener.listen(4)
        listener.setblocking(False)
        self._port = listener.getsockname()[1]
        self._listener = listener
        self.url = f"socket://127.0.0.1:{self._port}"

    def close(self) -> None:
        """Drops the client and listens no more."""
        self._drop()
        if self._listener:
            self._listener.close()
            self._listener = None

    def _drop(self) -> None:
        if self._client:
            self._client.close()
            self._client = None

    def fds(self) -> list[int]:
        """The listener and the client."""
        return [sock.fileno() for sock in (self._listener, self._client) if sock]

    def refresh(self) -> None:
        """Takes whoever knocks."""
        while self._listener:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            if self._client:
                client.close()
                continue
            client.setblocking(False)
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._client = client

    def read(self, fd: int) -> bytes:
        """What the client sent."""
        if self._listener and fd == self._listener.fileno():
            self.refresh()
            return b""
        if not self._client:
            return b""
        try:
            data = self._client.recv(_CHUNK)
        except BlockingIOError:
            return b""
        except OSError:
            data = b""
        if not data:
            self._drop()
        return data

    def write(self, data: bytes) -> int:
        """Sends what fits."""
        if not self._client:
            return len(data)
        with contextlib.suppress(BlockingIOError):
            try:
                return self._client.send(data)
            except BlockingIOError:
                raise
            except OSError:
                self._drop()
                return len(data)
        return 0

    def write_fd(self) -> int:
        """The client."""
        return self._client.fileno() if self._client else -1
