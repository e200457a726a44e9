"""I2C: what is written goes to the world, and takes as long as on the wire."""

import _channel
import _frames
import _world

_ENODEV = 19
_ETIMEDOUT = 110
# Measured on an emulated chip: 1025 bytes take 27.1 ms at 400 kHz, 17 % over 9 clocks a byte.
_SLOWER_PERCENT = 117


class I2C:
    """A bus master; raises OSError where nothing answers or the transfer outlasts `timeout` us."""

    present = ()

    def __init__(self, id=0, *, scl=None, sda=None, freq=400000, timeout=50000):
        self.init(freq=freq)
        self._timeout_us = timeout

    def init(self, *, freq=400000):
        """Sets the clock, in Hz."""
        self._freq_hz = freq

    def scan(self):
        """Addresses that answer."""
        _world.pass_bus_time(112 * self._cost_us(0))
        return list(self.present)

    def writeto(self, addr, buf, stop=True):
        """Writes bytes; gives how many were acknowledged."""
        self._transfer(addr, len(buf))
        _channel.emit_bytes(_frames.I2C, addr, buf)
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
        """Reads bytes; the parts on this bus answer zeros."""
        self._transfer(addr, len(buf))
        for i in range(len(buf)):
            buf[i] = 0

    def readfrom(self, addr, nbytes, stop=True):
        """Reads bytes; the parts on this bus answer zeros."""
        buf = bytearray(nbytes)
        self.readfrom_into(addr, buf)
        return bytes(buf)

    def _transfer(self, addr, nbytes):
        if addr not in self.present:
            _world.pass_bus_time(self._cost_us(0))
            raise OSError(_ENODEV)
        cost_us = self._cost_us(nbytes)
        if cost_us > self._timeout_us:
            _world.pass_bus_time(self._timeout_us)
            raise OSError(_ETIMEDOUT)
        _world.pass_bus_time(cost_us)

    def _cost_us(self, nbytes):
        return (nbytes + 1) * 9 * 10000 * _SLOWER_PERCENT // self._freq_hz
