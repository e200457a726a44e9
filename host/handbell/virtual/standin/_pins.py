"""Pins, PWM and ADC."""

import _bus
import _channel
import _frames
import _irq
import _world

_LED_PIN = 25
_PWM_SLICES = 8
_slices = [[None, None] for _ in range(_PWM_SLICES)]


class _PinIrq:
    """One pin's interrupt, as `_irq` wants it and as `Pin.irq` gives it back."""

    def __init__(self, pin):
        self.subject = pin
        self.handler = None
        self.enabled = 0
        self.latched = 0
        self.hard = False
        self.now_flags = 0

    def flags(self):
        """The edges that led to this call."""
        return self.now_flags

    def trigger(self):
        """The edges asked for."""
        return self.enabled


class Pin:
    """A GPIO; an output tells the world each change of level."""

    IN, OUT, OPEN_DRAIN, ALT = 0, 1, 2, 3
    PULL_UP, PULL_DOWN = 1, 2
    IRQ_FALLING, IRQ_RISING = _irq.FALL, _irq.RISE

    def __init__(self, id, mode=-1, pull=-1, *, value=None, alt=-1):
        if isinstance(id, Pin):
            id = id.id
        elif id == "LED":
            id = _LED_PIN
        elif isinstance(id, str):
            id = int(id[2:])
        self.id = id
        self._mode = Pin.IN
        self.init(mode, pull, value=value)

    def init(self, mode=-1, pull=-1, *, value=None, alt=-1):
        """Sets direction, pull and, for an output, its level."""
        if mode != -1:
            self._mode = mode
            _bus.take_pin(self.id)
        if value is not None and self._mode in (Pin.OUT, Pin.OPEN_DRAIN):
            self._drive(value)

    def __call__(self, value=None):
        """The level; or drives it."""
        if value is None:
            return _irq.wave.level() if self.id == _irq.wave_pin else _irq.levels[self.id]
        self._drive(value)
        return None

    value = __call__

    def on(self):
        """Drives the pin high."""
        self._drive(1)

    def off(self):
        """Drives the pin low."""
        self._drive(0)

    high = on
    low = off

    def toggle(self):
        """Drives the other level."""
        self._drive(not _irq.levels[self.id])

    def irq(self, handler=None, trigger=12, hard=False):
        """Calls `handler(pin)` at edges; gives an object with `flags()`."""
        irq = _irq.pins[self.id]
        if irq is None:
            irq = _irq.pins[self.id] = _PinIrq(self)
        irq.subject = self
        irq.handler = handler
        irq.enabled = trigger if handler else 0
        irq.latched = 0
        irq.hard = hard
        if self.id == _irq.wave_pin:
            _irq.wave.listen()
        return irq

    def _drive(self, value):
        level = _bus.drive(self.id, 1 if value else 0)
        if _irq.levels[self.id] != level:
            _irq.levels[self.id] = level
            _channel.emit(_frames.LEVEL, self.id, level)

    def __repr__(self):
        return "Pin(%d)" % self.id


class PWM:
    """Pulse width on a pin; both pins of a slice share their frequency."""

    def __init__(self, pin, *, freq=-1, duty_u16=-1):
        self._pin = pin.id
        self._slice = _slices[(self._pin >> 1) % _PWM_SLICES]
        old = self._slice[self._pin & 1]
        self._duty_u16 = old._duty_u16 if old else 0
        self._freq_hz = old._freq_hz if old else 0
        self._slice[self._pin & 1] = self
        self.init(freq=freq, duty_u16=duty_u16)

    def init(self, *, freq=-1, duty_u16=-1):
        """Sets either or both."""
        if freq != -1:
            self.freq(freq)
        if duty_u16 != -1:
            self.duty_u16(duty_u16)

    def freq(self, hz=None):
        """Whole Hz, 8 at least."""
        if hz is None:
            return self._freq_hz
        if hz < 8:
            raise ValueError("freq too small")
        if hz > 62500000:
            raise ValueError("freq too large")
        for channel in self._slice:
            if channel is not None:
                channel._freq_hz = hz
                channel._tell()
        return None

    def duty_u16(self, duty=None):
        """Share of the time high, of 65535."""
        if duty is None:
            return self._duty_u16
        if not 0 <= duty <= 65535:
            raise ValueError("duty_u16 must be from 0 to 65535")
        self._duty_u16 = duty
        self._tell()
        return None

    def deinit(self):
        """Stops the slice: silence here, though a real pin may be left high."""
        for channel in self._slice:
            if channel is not None:
                channel._duty_u16 = 0
                channel._tell()

    def _tell(self):
        _channel.emit(_frames.PWM, self._pin, self._freq_hz << 16 | self._duty_u16)


class ADC:
    """One analogue input; what it reads is set from the world."""

    CORE_TEMP = 4

    def __init__(self, channel):
        pin = channel.id if isinstance(channel, Pin) else channel
        self._channel = pin - 26 if pin >= 26 else pin

    def read_u16(self):
        """0 to 65535 for 0 to 3.3 V, in the chip's 12-bit steps."""
        return _world.adc_u16.get(self._channel, 0)
