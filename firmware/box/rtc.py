"""The clock part: a DS3231-type chip that keeps time on a cell of its own, on the display's bus.

Registers, alignment and accuracy (2 ppm from 0 to 40 degrees) are those of its data sheet (Maxim,
DS3231, from memory): writing the seconds restarts the second, and the square wave falls at each.
"""

import time
from array import array

from handbell_core.ticks import ticks_diff

from .bus import PART_ADDRESS as ADDRESS

_CONTROL, _STATUS = 0x0E, 0x0F
_STOPPED = 0x80  # in status: the oscillator stood still, so the time is wrong
_SQUARE_1_HZ = 0x00
_Y2K_S = 946_684_800
_DAY_S = 86_400
_BEFORE = (0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334)  # days before each month
STEADY_US = 300  # two edges that are no second apart, to within this, are not used


class Rtc:
    """The part; ``pin`` has its square wave. Raises OSError when it doesn't answer."""

    def __init__(self, bus, pin) -> None:
        self._bus = bus
        self.stopped = bool(bus.readfrom_mem(ADDRESS, _STATUS, 1)[0] & _STOPPED)
        bus.writeto_mem(ADDRESS, _CONTROL, bytes((_SQUARE_1_HZ,)))
        self._edges = edges = array("i", [0, 0])  # how many came, and when the last
        self._seen = 0
        self.tick = 0
        now = time.ticks_us

        # A hard interrupt: nothing here may allocate.
        def edge(_) -> None:
            edges[1] = now()
            edges[0] = (edges[0] + 1) & 0xFFFFFF

        pin.irq(edge, pin.IRQ_FALLING, hard=True)

    @property
    def has_ticked(self) -> bool:
        """Whether an edge came that ``ticked`` was not asked about yet."""
        return self._edges[0] != self._seen

    def ticked(self) -> bool:
        """Whether a new second began at ``tick``, told once, and told on time."""
        edges = self._edges
        if not self.has_ticked:
            return False
        self._seen = edges[0]
        since_us = ticks_diff(edges[1], self.tick)
        self.tick = edges[1]
        # An edge during a flash write is told late; so is the gap before the one after it.
        return -STEADY_US < since_us - 1_000_000 < STEADY_US

    def read_s(self) -> int:
        """Return the second that began at the last edge, since 1970; call within half a second."""
        raw = self._bus.readfrom_mem(ADDRESS, 0, 7)
        second, minute, hour, _, day, month, year = (
            (b >> 4) * 10 + (b & 15)
            for b in (
                raw[0], raw[1], raw[2] & 0x3F, 0, raw[4], raw[5] & 0x1F, raw[6],
            )
        )  # fmt: skip
        days = year * 365 + (year + 3) // 4 + _BEFORE[month - 1] + day - 1
        if month > 2 and year % 4 == 0:
            days += 1
        return _Y2K_S + days * _DAY_S + hour * 3600 + minute * 60 + second

    def write(self, utc_s: int) -> None:
        """Begin the second ``utc_s`` (2000 to 2099) now."""
        days, second = divmod(utc_s - _Y2K_S, _DAY_S)
        weekday = (days + 6) % 7 + 1  # 2000 began on a Saturday
        year = days * 4 // 1461
        days -= year * 365 + (year + 3) // 4
        month = 12
        while True:
            before = _BEFORE[month - 1] + (1 if month > 2 and year % 4 == 0 else 0)
            if days >= before:
                break
            month -= 1
        fields = (
            second % 60, second // 60 % 60, second // 3600, weekday, days - before + 1, month, year,
        )  # fmt: skip
        raw = bytes([n // 10 << 4 | n % 10 for n in fields])
        self._bus.writeto_mem(ADDRESS, 0, raw)
        self._bus.writeto_mem(ADDRESS, _STATUS, bytes(1))
        self.stopped = False
