"""A real-time clock of the DS3231 type as its registers show it; no I/O, no clock of its own.

Registers, flags and the countdown chain are those of the data sheet (Maxim, DS3231). Not modelled:
the 12-hour mode, alarms (their registers only keep what is written), the faster square waves and
the 32 kHz output. Run in the box, and beside it in the world's process: `ClockPart`, `RtcPart`.
"""

ADDRESS = 0x68
SECONDS, CONTROL, STATUS, AGEING, TEMPERATURE, SIZE = 0x00, 0x0E, 0x0F, 0x10, 0x11, 0x13
EOSC, CONV, SILENT = 0x80, 0x20, 0x1C  # SILENT: INTCN or a rate other than 1 Hz
OSF = 0x80

FALL, RISE = 4, 8
_BILLION = 1000000000
_SECOND_US = 1000000
_HALF_US = 500000
_DAY_US = 86400 * _SECOND_US
_TIME = 7  # the registers that hold time and date
_AGEING_PPB = 100  # slower by this for each step, at 25 degrees
_FLAGS = 0x83  # OSF and the alarms': writing a 1 leaves them
_EN32KHZ = 0x08
_PLACES = (0x7F, 0x7F, 0x3F, 0x07, 0x3F, 0x9F, 0xFF)
_MONTHS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
# The calendar with its century bit: 200 years, every fourth a leap year.
_CYCLE_DAYS, _ALL_DAYS = 1461, 50 * 1461


def new_registers(lost: bool) -> bytearray:
    """The registers as power first finds them; `lost` when the oscillator had not run before."""
    registers = bytearray(SIZE)
    registers[CONTROL] = SILENT
    registers[STATUS] = _EN32KHZ | (OSF if lost else 0)
    registers[TEMPERATURE : TEMPERATURE + 2] = b"\x19\x40"  # 25.25 degrees
    return registers


def day_number(date: int, month: int, year: int) -> int:
    """Days since the start of year 0, a leap year."""
    before = sum(_MONTHS[: (month - 1) % 12]) + (month > 2 and year % 4 == 0)
    return year * 365 + (year + 3) // 4 + before + date - 1


def date_of(number: int) -> tuple[int, int, int]:
    """Date, month and year (0 to 199) of a day number."""
    cycles, day = divmod(number % _ALL_DAYS, _CYCLE_DAYS)
    year = 0 if day < 366 else (day - 1) // 365
    day -= year * 365 + (year > 0)
    month = 0
    while True:
        length = _MONTHS[month] + (month == 1 and year == 0)
        if day < length:
            return day + 1, month + 1, cycles * 4 + year
        day -= length
        month += 1


def _bcd(n: int) -> int:
    return n // 10 << 4 | n % 10


def _of_bcd(byte: int) -> int:
    return (byte >> 4) * 10 + (byte & 0xF)


class Rtc:
    """The part. Every method is told the world time; what `state` gives makes another like it.

    `of_day_us` is its time of day at `anchor_us`, from where it goes on at its own rate, `ppb`
    off; the fraction of a second in it is the countdown chain.
    """

    def __init__(
        self,
        ppb: int,
        anchor_us: int,
        of_day_us: int,
        weekday: int,
        date: tuple[int, int, int],
        registers: bytearray,
        running: bool = True,
    ) -> None:
        self.pointer = 0
        self._ppb = ppb
        self._anchor_us = anchor_us
        self._of_day_us = of_day_us
        self._weekday = weekday
        self._date = date
        self._registers = bytearray(registers)
        self._running = running
        self._set_rate()

    def state(self) -> list[object]:
        """The constructor's arguments, as JSON goes."""
        kept, date = list(self._registers), list(self._date)
        time = [self._ppb, self._anchor_us, self._of_day_us, self._weekday]
        return time + [date, kept, self._running]

    def shown(self, at_us: int) -> tuple[int, int]:
        """Days since the start of its year 0, and microseconds of the day."""
        days, of_day_us = divmod(self._total_us(at_us), _DAY_US)
        return day_number(*self._date) + days, of_day_us

    def is_lost(self) -> bool:
        """Whether its oscillator stopped at any time since the flag was cleared."""
        return self._registers[STATUS] & OSF != 0

    def registers(self, at_us: int) -> bytearray:
        """All registers at one moment."""
        days, of_day_us = divmod(self._total_us(at_us), _DAY_US)
        weekday = (self._weekday - 1 + days) % 7 + 1 if days else self._weekday
        date, month, year = self._date
        if days:
            date, month, year = date_of(day_number(date, month, year) + days)
        second = of_day_us // _SECOND_US
        time = (second % 60, second // 60 % 60, second // 3600, weekday, date, month, year % 100)
        registers = bytearray(self._registers)
        for place, n in enumerate(time):
            registers[place] = _bcd(n)
        registers[5] |= year // 100 << 7
        return registers

    def read(self, n_bytes: int, at_us: int) -> bytes:
        """Bytes from the register pointer on, all of the moment `at_us`; moves the pointer."""
        registers = self.registers(at_us)
        answer = bytes([registers[(self.pointer + i) % SIZE] for i in range(n_bytes)])
        self.pointer = (self.pointer + n_bytes) % SIZE
        return answer

    def write(self, data: bytes, at_us: int) -> None:
        """A register address, then bytes for it and those after it."""
        registers = self.registers(at_us)
        written = set()
        at = data[0] % SIZE
        for byte in data[1:]:
            if at < _TIME:
                byte &= _PLACES[at]
            elif at == CONTROL:
                byte &= ~CONV & 0xFF
            elif at == STATUS:
                byte = registers[at] & byte & _FLAGS | byte & _EN32KHZ
            if at < TEMPERATURE:
                registers[at] = byte
            written.add(at)
            at = (at + 1) % SIZE
        self.pointer = at
        chain_us = 0 if SECONDS in written else self._total_us(at_us) % _SECOND_US
        timed = AGEING in written or any(place < _TIME for place in written)
        self._registers = registers
        if timed:
            self._set_time(chain_us, at_us)

    def level(self, at_us: int) -> int:
        """The level of the square-wave pin, with its pull-up."""
        if self._registers[CONTROL] & SILENT:
            return 1
        return int(self._total_us(at_us) % _SECOND_US >= _HALF_US)

    def edge_after(self, at_us: int, wanted: int) -> tuple[int, int] | None:
        """World time and level of the first edge after `at_us` of those wanted; None for none.

        `wanted` is FALL, RISE or both.
        """
        if self._registers[CONTROL] & SILENT or not wanted:
            return None
        half = self._total_us(at_us) // _HALF_US + 1
        if not wanted & (RISE if half & 1 else FALL):
            half += 1
        # The first whole microsecond at which the part has got so far.
        own_us = half * _HALF_US - self._of_day_us
        rate_ppb = self._rate_ppb
        return self._anchor_us + own_us - own_us * rate_ppb // (_BILLION + rate_ppb), half & 1

    def lose_supply(self, at_us: int) -> None:
        """It goes on with its cell, unless the oscillator was told to stop then."""
        if self._registers[CONTROL] & EOSC:
            self._registers[STATUS] |= OSF
            self._of_day_us = self._total_us(at_us)
            self._running = False

    def gain_supply(self, at_us: int) -> None:
        """With supply the oscillator always runs."""
        if not self._running:
            self._anchor_us = at_us
            self._running = True

    def _total_us(self, at_us: int) -> int:
        """Its microseconds since the start of the day that `_date` names."""
        if not self._running:
            return self._of_day_us
        since_us = at_us - self._anchor_us
        return self._of_day_us + since_us + since_us * self._rate_ppb // _BILLION

    def _set_time(self, chain_us: int, at_us: int) -> None:
        """Goes on from what the time registers hold."""
        second, minute, hour, self._weekday, date, month, year = [
            _of_bcd(byte) for byte in self._registers[:_TIME]
        ]
        century, month = divmod(month, 80)
        self._date = (date, month, century * 100 + year)
        self._of_day_us = (hour * 3600 + minute * 60 + second) * _SECOND_US + chain_us
        self._anchor_us = at_us
        self._set_rate()

    def _set_rate(self) -> None:
        ageing = self._registers[AGEING]
        self._rate_ppb = self._ppb - _AGEING_PPB * (ageing - (ageing & 0x80) * 2)
