"""I2C: what is written goes to the world, and takes as long as on the wire."""

import _channel
import _frames
import _irq
import _world

_ENODEV = 19
_ETIMEDOUT = 110
# Measured on an emulated chip: 1025 bytes take 27.1 ms at 400 kHz, 17 % over 9 clocks a byte.
_SLOWER_PERCENT = 117

_sda = _scl = -1
_pulses = 0  # until the part that holds the data line lets go; 0 while none does
_confused = False  # a part that let go takes nothing before a stop condition
_taken = False  # the pins are no bus any more, until one is made again


def hold(pulses):
    """A part stops in the middle of a byte: it holds the data line for so many clock pulses."""
    global _pulses, _confused
    _pulses, _confused = pulses, True
    _irq.levels[_sda] = 0


def take_pin(number):
    """A pin was given another use."""
    global _taken
    if number in (_sda, _scl):
        _taken = True


def drive(number, level):
    """A pin is driven to a level; gives the level that it then has."""
    global _pulses, _confused
    rises = level and not _irq.levels[number]
    if number == _scl and rises and _pulses:
        _pulses -= 1
        if not _pulses:
            _irq.levels[_sda] = 1
    if number == _sda:
        if _pulses:
            return 0
        if rises and _irq.levels[_scl]:
            _confused = False  # a stop condition
    return level


class I2C:
    """A bus master; raises OSError where nothing answers or the transfer outlasts `timeout` us.

    A part of `answering` has `take(data)` and `give(buf)`; of all others of `present` what is
    written goes to the world, and they answer zeros.
    """

    present = ()
    answering = {}

    def __init__(self, id=0, *, scl=None, sda=None, freq=400000, timeout=50000):
        global _sda, _scl, _taken
        self.init(freq=freq)
        self._timeout_us = timeout
        if sda is not None:
            _sda, _scl, _taken = sda.id, scl.id, False
            _irq.levels[_scl] = 1
            _irq.levels[_sda] = 0 if _pulses else 1

    def init(self, *, freq=400000):
        """Sets the clock, in Hz."""
        self._freq_hz = freq

    def scan(self):
        """Addresses that answer."""
        _world.pass_bus_time(112 * self._cost_us(0))
        return list(self.present)

    def writeto(self, addr, buf, stop=True):
        """Writes bytes; gives how many were acknowledged."""
        part = self.answering.get(addr)
        if part is None:
            self._transfer(addr, self._cost_us(len(buf)))
            _channel.emit_bytes(_frames.I2C, addr, buf)
        elif len(buf):
            # The first byte for a register counts when it is acknowledged; the rest may as well.
            taken_us = self._cost_us(min(len(buf), 2))
            self._transfer(addr, self._cost_us(len(buf)), lambda: part.take(buf), taken_us)
        return len(buf)

    def writevto(self, addr, vector, stop=True):
        """Writes several buffers as one transfer."""
        whole = bytearray()
        for part in vector:
            whole.extend(part)
        return self.writeto(addr, whole)

    def writeto_mem(self, addr, memaddr, buf, *, addrsize=8):
        """Writes bytes after a register address."""
        self.writeto(addr, memaddr.to_bytes(addrsize // 8, "big") + bytes(buf))

    def readfrom_into(self, addr, buf, stop=True):
        """Reads bytes into `buf`."""
        self._read(addr, b"", buf)

    def readfrom(self, addr, nbytes, stop=True):
        """Reads bytes."""
        buf = bytearray(nbytes)
        self._read(addr, b"", buf)
        return bytes(buf)

    def readfrom_mem_into(self, addr, memaddr, buf, *, addrsize=8):
        """Reads bytes from a register address on into `buf`."""
        self._read(addr, memaddr.to_bytes(addrsize // 8, "big"), buf)

    def readfrom_mem(self, addr, memaddr, nbytes, *, addrsize=8):
        """Reads bytes from a register address on."""
        buf = bytearray(nbytes)
        self.readfrom_mem_into(addr, memaddr, buf, addrsize=addrsize)
        return bytes(buf)

    def _read(self, addr, place, buf):
        """Writes `place` if there is one, starts again, and reads; a part answers as of then."""
        start_us = self._cost_us(len(place)) if place else 0
        part = self.answering.get(addr)

        def answer():
            if part is None:
                for i in range(len(buf)):
                    buf[i] = 0
                return
            if place:
                part.take(place)
            part.give(buf)

        self._transfer(addr, start_us + self._cost_us(len(buf)), answer, start_us)

    def _transfer(self, addr, cost_us, act=None, act_at_us=0):
        if _pulses or _taken:
            _world.pass_bus_time(self._timeout_us)
            raise OSError(_ETIMEDOUT)
        if addr not in self.present or _confused:
            _world.pass_bus_time(self._cost_us(0))
            raise OSError(_ENODEV)
        if cost_us > self._timeout_us:
            _world.pass_bus_time(self._timeout_us)
            raise OSError(_ETIMEDOUT)
        _world.pass_bus_time(cost_us, act, act_at_us)

    def _cost_us(self, nbytes):
        return (nbytes + 1) * 9 * 10000 * _SLOWER_PERCENT // self._freq_hz
