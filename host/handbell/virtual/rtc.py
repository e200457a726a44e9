"""The real-time clock on a virtual box's bus, as it goes on while the box has no power."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handbell.virtual.standin._rtc import Rtc, date_of, new_registers

if TYPE_CHECKING:
    from handbell.virtual.spec import BoxSpec

_DAY_US = 86_400_000_000
# Days from 1970 to 2000, where the part's years begin: a Saturday, its day 6 if Monday is 1.
_Y2K_DAYS, _Y2K_WEEKDAY = 10_957, 6


class RtcPart:
    """The part beside the box's process.

    While the box has power its process answers for the part. Each write also comes here, with the
    time at which the part took it, and is done to this copy by the same code: so both agree, and
    this one is what a power-up begins with.
    """

    def __init__(self, spec: BoxSpec, utc_us: int, world_us: int) -> None:
        registers = new_registers(spec.rtc_lost)
        if spec.rtc_lost:
            self._rtc = Rtc(spec.rtc_ppb, 0, 0, 1, (1, 1, 0), registers, running=False)
            return
        days, of_day_us = divmod(utc_us, _DAY_US)
        days -= _Y2K_DAYS
        weekday = (_Y2K_WEEKDAY - 1 + days) % 7 + 1
        self._rtc = Rtc(spec.rtc_ppb, world_us, of_day_us, weekday, date_of(days), registers)

    def take(self, data: bytes, world_us: int) -> None:
        """What was written to it."""
        self._rtc.write(data, world_us)

    def lose_supply(self, world_us: int) -> None:
        """The box lost power."""
        self._rtc.lose_supply(world_us)

    def gain_supply(self, world_us: int) -> list[object]:
        """The box has power; gives what its process begins with, as JSON goes."""
        self._rtc.gain_supply(world_us)
        return self._rtc.state()

    def utc_us(self, world_us: int) -> int:
        """What it shows at a world time, with its fraction of a second, in UTC since 1970."""
        days, of_day_us = self._rtc.shown(world_us)
        return (_Y2K_DAYS + days) * _DAY_US + of_day_us

    @property
    def is_lost(self) -> bool:
        """Whether its flag says that the oscillator had stopped."""
        return self._rtc.is_lost()
