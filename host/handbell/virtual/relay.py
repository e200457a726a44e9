"""The one thread that moves bytes between hosts, boxes and their world."""

from __future__ import annotations

import contextlib
import os
import select
import threading
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from typing import TYPE_CHECKING, Protocol, TypeVar

if TYPE_CHECKING:
    from handbell.virtual.process import BoxProcess
    from handbell.virtual.wire import Wire

_T = TypeVar("_T")
Action = Callable[[], None]
# A pty says nothing when a host opens it: while one is closed, look this often.
_LOOK_MS = 10
_REST_MS = 500
_ANSWER_S = 60.0


class Wired(Protocol):
    """What the relay looks after: a process, and the cable between it and a host."""

    process: BoxProcess | None
    wire: Wire

    def read_control(self, process: BoxProcess) -> None:
        """Take in what the process said of its parts."""

    def read_output(self, process: BoxProcess) -> None:
        """Take in what the process said to its host."""


class Relay:
    """Polls every descriptor of every box; `changed` is called when a host came or went."""

    def __init__(self, changed: Callable[[], None]) -> None:
        self._boxes: list[Wired] = []
        self._changed = changed
        self._calls: deque[Callable[[], None]] = deque()
        self._wake_rx, self._wake_tx = os.pipe()
        os.set_blocking(self._wake_rx, False)
        self._stopping = False
        self._held = False
        self._hosts: list[bool] = []
        self._thread = threading.Thread(target=self._run, name="virtual-boxes", daemon=True)
        self._thread.start()

    def call(self, work: Callable[[], _T]) -> _T:
        """Runs `work` in the relay's thread and gives its result, or raises what it raised."""
        if threading.current_thread() is self._thread:
            return work()
        done: Future[_T] = Future()

        def run() -> None:
            try:
                done.set_result(work())
            except BaseException as fault:
                done.set_exception(fault)

        self._calls.append(run)
        os.write(self._wake_tx, b"!")
        return done.result(_ANSWER_S)

    def add(self, box: Wired) -> None:
        """Looks after a box from now on."""
        self.call(lambda: self._boxes.append(box))

    def remove(self, box: Wired) -> None:
        """Looks after a box no more."""
        self.call(lambda: self._boxes.remove(box) if box in self._boxes else None)

    def hold_hosts(self, held: bool) -> None:
        """Leaves hosts waiting during a jump, or serves them again."""

        def set_held() -> None:
            self._held = held

        self.call(set_held)

    def settle(self) -> bool:
        """Moves what hosts sent on into the boxes; says if nothing was left to move."""

        def move() -> bool:
            still = True
            for box in self._boxes:
                self._refresh(box)
                process = box.process
                if process:
                    for fd in box.wire.host_fds():
                        still = not box.wire.read_host(fd, process.stdin) and still
                    box.wire.write_box(process.stdin)
                    still = not box.wire.waits_for_box and still
            return still

        return self.call(move)

    def stop(self) -> None:
        """Ends the thread."""

        def set_stopping() -> None:
            self._stopping = True

        self.call(set_stopping)
        self._thread.join()
        os.close(self._wake_rx)
        os.close(self._wake_tx)

    def _run(self) -> None:
        while not self._stopping:
            watch = select.poll()
            actions: dict[int, tuple[Wired, BoxProcess | None, Action]] = {}
            watch.register(self._wake_rx, select.POLLIN)
            for box in self._boxes:
                for fd, mask, action in self._interests(box):
                    watch.register(fd, mask)
                    actions[fd] = (box, box.process, action)
            for fd, _ in watch.poll(self._patience_ms()):
                # An earlier one of these may have ended the box.
                if fd in actions and actions[fd][0].process is actions[fd][1]:
                    actions[fd][2]()
            with contextlib.suppress(BlockingIOError):
                os.read(self._wake_rx, 4096)
            while self._calls:
                self._calls.popleft()()
            if not self._held:
                self._look_at_hosts()

    def _patience_ms(self) -> int:
        waiting = any(box.wire.is_plugged and not box.wire.host_open for box in self._boxes)
        return _LOOK_MS if waiting and not self._held else _REST_MS

    def _look_at_hosts(self) -> None:
        for box in self._boxes:
            if box.wire.is_plugged and not box.wire.host_open:
                self._refresh(box)
        hosts = [box.wire.host_open for box in self._boxes]
        if hosts != self._hosts:
            self._hosts = hosts
            self._changed()

    @staticmethod
    def _refresh(box: Wired) -> None:
        """Notices a host that came or went; one that came hears nothing said before."""
        if box.process and not box.wire.host_open:
            box.wire.lose_output(box.process.stdout)
        box.wire.port.refresh()

    def _interests(self, box: Wired) -> list[tuple[int, int, Action]]:
        process, wire = box.process, box.wire
        if process is None:
            return []
        wanted: list[tuple[int, int, Action]] = [
            (process.control_rx, select.POLLIN, lambda: box.read_control(process))
        ]
        if wire.takes_output:
            wanted.append((process.stdout, select.POLLIN, lambda: box.read_output(process)))
        if wire.waits_for_box:
            wanted.append((process.stdin, select.POLLOUT, lambda: wire.write_box(process.stdin)))
        if self._held:
            return wanted
        room = wire.port.write_fd() if wire.waits_for_host else -1
        for fd in wire.host_fds():
            if fd != room:
                wanted.append((fd, select.POLLIN, lambda fd=fd: self._host(box, fd)))  # type: ignore[misc]
        if room != -1:
            mask = select.POLLOUT | (select.POLLIN if room in wire.host_fds() else 0)
            wanted.append((room, mask, lambda: self._host(box, room)))
        return wanted

    @staticmethod
    def _host(box: Wired, fd: int) -> None:
        box.wire.write_host()
        if box.process and not box.wire.host_open:  # a listener: somebody knocks
            box.wire.lose_output(box.process.stdout)
        if box.process and fd in box.wire.host_fds():
            box.wire.read_host(fd, box.process.stdin)
