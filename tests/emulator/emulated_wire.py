"""The host's end of an emulated chip's USB serial: bytes out as the chip takes them, bytes in."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any


class Wire:
    """Bytes between a host and the chip; ``on_data`` is told what the chip sent."""

    def __init__(self, cdc: Any, clock: Any) -> None:
        self._cdc, self._clock = cdc, clock
        self.on_data: Callable[[bytes], None] = lambda data: None
        self.heard = bytearray()
        self.taken = 0  # bytes that went to the chip's side of the cable
        self._out = bytearray()
        cdc.on_serial_data = self._came
        self._hold_when_empty()

    def _came(self, data: bytes | bytearray) -> None:
        self.heard += data
        self.on_data(bytes(data))

    def _hold_when_empty(self) -> None:
        """Leave the box's read pending while there is nothing to send, as a real host does.

        The emulated host answers each read with an empty packet, so that an idle box never sleeps.
        """
        cdc, usb = self._cdc, self._cdc.usb
        answer, reset = usb.on_endpoint_read, usb.on_reset
        held: list[tuple[int, int]] = []
        alarm = self._clock.create_alarm(lambda: held and answer(*held.pop()))

        def on_read(endpoint: int, size: int) -> None:
            if endpoint == cdc._out_endpoint and cdc.tx_fifo.empty:
                self._pump()
                if cdc.tx_fifo.empty:
                    held[:] = [(endpoint, size)]
                    return
            answer(endpoint, size)

        def on_reset() -> None:
            held.clear()
            reset()

        def begin() -> None:
            self._pump()
            if held:
                alarm.schedule(20_000)

        self._begin = begin
        usb.on_endpoint_read, usb.on_reset = on_read, on_reset

    def _pump(self) -> None:
        while self._out and not self._cdc.tx_fifo.full:
            self._cdc.send_serial_byte(self._out.pop(0))
            self.taken += 1

    def write(self, data: bytes) -> None:
        """Put bytes on the wire; they go as the box takes them."""
        self._out += data
        self._begin()

    def drop(self) -> None:
        """Take back what the box has not taken yet."""
        self._out.clear()
