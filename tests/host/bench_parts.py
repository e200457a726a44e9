"""Stand-in parts for the scripts of a bench: modules that MicroPython on a desktop lacks.

Time is simulated: it moves 20 us a look and as long as told to sleep. With a jumper the first
sounder's pin drives the first button's pin.
"""

from pathlib import Path

TIME = """
import utime
PERIOD = 1 << 30
now = 0
timers, watchers = [], []
inside = False  # an interrupt takes no time
def _move(us):
    global now, inside
    if inside:
        return
    inside = True
    end = now + us
    for watcher in watchers:
        watcher(now, end)
    now = end
    for timer in list(timers):
        timer.look(now)
    inside = False
def ticks_us():
    _move(20)
    return now % PERIOD
def ticks_ms():
    return now // 1000 % PERIOD
def ticks_add(tick, delta):
    return (tick + delta) % PERIOD
def ticks_diff(end, start):
    return (end - start + PERIOD // 2) % PERIOD - PERIOD // 2
def sleep_ms(ms):
    for _ in range(ms):
        _move(1000)
"""

MACHINE = """
import time
JUMPER = %r
class Irq:
    def flags(self):
        return 0
class Pin:
    IN, OUT, PULL_UP, IRQ_FALLING, IRQ_RISING = range(5)
    IRQ_RISING, IRQ_FALLING = 8, 4
    first = None
    def __init__(self, number, *_, **__):
        self.number, self.level, self.handler, self.on = number, 1, None, 12
        if number == 10:
            Pin.first = self
    def __call__(self):
        return self.level
    def __bool__(self):
        return bool(self.level)
    def irq(self, handler=None, trigger=12, hard=False):
        self.handler, self.on = handler, trigger
        return Irq()
    def drive(self, level):
        if level != self.level:
            self.level = level
            if self.handler and self.on & (8 if level else 4):
                self.handler(self)
class PWM:
    def __init__(self, pin):
        self.hz, self.duty, self.pin = 1000, 0, pin
        if JUMPER and pin.number == 15:
            time.watchers[:] = [self.go_on]
    def freq(self, hz=None):
        if hz is not None and hz < 8:
            raise ValueError('frequency too low')
        self.hz = hz or self.hz
    def duty_u16(self, duty):
        self.duty = duty
        self.since = time.now
        self.show(time.now)
    def show(self, at):
        level = 1 if self.duty == 65535 else 0
        if 0 < self.duty < 65535:
            half = (at - self.since) * self.hz * 2 // 1000000
            level = 1 - half %% 2
        if JUMPER and self.pin.number == 15 and Pin.first is not None:
            Pin.first.drive(level)
    def go_on(self, start, end):
        if not 0 < self.duty < 65535:
            return
        half = (start - self.since) * self.hz * 2 // 1000000
        while True:
            half += 1
            at = self.since + -(-half * 500000 // self.hz)
            if at > end:
                break
            time.now = at
            self.show(at)
class I2C:
    def __init__(self, number, freq=0, scl=None, sda=None, timeout=50000):
        self.number, self.hz, self.scl, self.sda = number, freq, scl.number, sda.number
    def __repr__(self):
        return 'I2C(%%d, freq=%%d, scl=%%d, sda=%%d, timeout=50000)' %% (
            self.number, self.hz, self.scl, self.sda)
    def writeto(self, address, data):
        time._move((len(data) + 1) * 9000000 // self.hz)
class Timer:
    ONE_SHOT, PERIODIC = 0, 1
    def __init__(self, number):
        pass
    def init(self, mode, period, callback, tick_hz=1000, hard=False):
        self.step = period * 1000000 // tick_hz
        self.due, self.callback, self.mode = time.now + self.step, callback, mode
        if self not in time.timers:
            time.timers.append(self)
    def look(self, now):
        while self in time.timers and now >= self.due:
            self.due += self.step
            if self.mode == self.ONE_SHOT:
                time.timers.remove(self)
            self.callback(self)
    def deinit(self):
        if self in time.timers:
            time.timers.remove(self)
class ADC:
    CORE_TEMP = 4
    def __init__(self, which):
        self.which = which
    def read_u16(self):
        return 14022 if self.which == 4 else 31774  # 706 mV; 4800 mV on VSYS
"""

NEOPIXEL = """
import time
class NeoPixel:
    def __init__(self, pin, lamps):
        self.lamps = lamps
    def write(self):
        time._move(30 * self.lamps)
"""


def stand_in(folder: Path, jumper: bool) -> Path:
    """Write the modules into a new folder, for MICROPYPATH."""
    folder.mkdir()
    for name, text in (("time", TIME), ("machine", MACHINE % jumper), ("neopixel", NEOPIXEL)):
        (folder / f"{name}.py").write_text(text, encoding="utf-8")
    return folder
