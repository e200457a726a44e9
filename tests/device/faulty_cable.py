"""A cable between a host and a virtual box that spoils what goes through it, or parts."""

from collections.abc import Callable

from handbell.virtual.box import VirtualBox
from handbell.virtual.ports import Port

TO_BOX, TO_HOST = "to_box", "to_host"


class FaultyPort:
    """A port around a sound one; put in by `spoil` and `part_after`, used by the relay's thread."""

    def __init__(self, sound: Port) -> None:
        self.sound = sound
        self.change: Callable[[str, bytes], bytes] = lambda direction, data: data
        self.left: int | None = None
        self.part: Callable[[], None] = lambda: None

    def __getattr__(self, name: str) -> object:
        return getattr(self.sound, name)

    def fds(self) -> list[int]:
        if self.left == 0:  # what came before has gone on into the box
            self.left = None
            self.part()
            return []
        return self.sound.fds()

    def read(self, fd: int) -> bytes:
        data = self.sound.read(fd)
        if self.left is not None:
            data = data[: self.left]
            self.left -= len(data)
        return self.change(TO_BOX, data) if data else data

    def write(self, data: bytes) -> int:
        changed = self.change(TO_HOST, data)
        assert self.sound.write(changed) == len(changed)
        return len(data)


def spoil(box: VirtualBox, change: Callable[[str, bytes], bytes]) -> None:
    """Pass every piece through `change(direction, data)` from now on."""
    _faulty(box).change = change


def mend(box: VirtualBox) -> None:
    """Put the sound port back."""
    box.wire.port = _faulty(box).sound


def part_after(box: VirtualBox, n_bytes: int) -> None:
    """Pull the cable once `n_bytes` more from the host have gone through."""

    def part() -> None:
        if box.wire.waits_for_box:
            port.left = 0  # not yet
        else:
            box.wire.unplug()

    port = _faulty(box)
    port.left, port.part = n_bytes, part


def _faulty(box: VirtualBox) -> FaultyPort:
    port = box.wire.port
    if not isinstance(port, FaultyPort):
        port = box.wire.port = FaultyPort(port)
    return port
