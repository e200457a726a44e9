"""The WS2812 driver of the chip's runtime, with its bytes going to the virtual strip."""

import _channel
import _frames
import _world

_US_A_LED = 30


class NeoPixel:
    """`n` LEDs on a pin; three bytes each, kept in wire order (green, red, blue)."""

    ORDER = (1, 0, 2, 3)

    def __init__(self, pin, n, bpp=3, timing=1):
        self.pin = pin
        self.n = n
        self.bpp = bpp
        self.buf = bytearray(n * bpp)

    def __len__(self):
        return self.n

    def __setitem__(self, i, colour):
        for part in range(self.bpp):
            self.buf[i * self.bpp + self.ORDER[part]] = colour[part]

    def __getitem__(self, i):
        return tuple(self.buf[i * self.bpp + self.ORDER[part]] for part in range(self.bpp))

    def fill(self, colour):
        """Sets every LED to one colour."""
        for i in range(self.n):
            self[i] = colour

    def write(self):
        """Sends all LEDs; interrupts are off meanwhile, as on the chip."""
        _world.stall(_US_A_LED * self.n)
        _channel.emit_bytes(_frames.STRIP, self.pin.id, self.buf)
