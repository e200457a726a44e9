"""Raspberry Pi Pico (RP2040): the reference box.

Pin numbers are GPIO numbers. Parts: SSD1306-type display on I2C, 8 WS2812-type LEDs, a passive
sounder, one to four buttons to ground.
"""

import time

import machine
import neopixel
from machine import ADC, I2C, PWM, Pin

NAME = "pico"
ROOT = ""  # the box's files are in the folder where main.py starts

BUTTON_PINS = (10, 11, 12, 13)
BUS_PINS = (4, 5)  # SDA, SCL
RECEIVER_PIN = 18  # of a 38 kHz infra-red receiver, low while it sees light; None without one
EMITTER_PIN = 19  # of an infra-red diode's transistor, high while it is lit; None without one
# A box that is no remote has its diode used only where a line here says REPEATS = True.
BUS_US = 10_000  # no transfer may take longer; a piece of the screen takes 4 ms at 400 kHz
DISPLAY_RESET_PIN = None  # the number of the pin, for a display that wants a reset pulse
DISPLAY_PAGED = False  # True for a display whose controller (SH1106 type) takes no ranges
LAMPS = 8
LAMP_CAP = 64  # of 255: 8 x 3 x 20 mA x 64 / 255 = 120 mA at the very most
SOUND_DUTY = 32768  # half: the loudest a square wave gets
BATTERY_LOW_MV = 3600  # at the cell; below this no host sets a start, and the screen says so
BATTERY_FULL_MV = 6600  # a full reading: its divider halves; correct it by a multimeter
TICKS_PER_S = 1_000_000


def unique_id() -> bytes:
    """Return the flash chip's 8-byte serial number."""
    return machine.unique_id()


def bus():
    """Return the display's I2C bus: 400 kHz, the SSD1306 datasheet's fastest."""
    sda, scl = BUS_PINS
    return I2C(0, sda=Pin(sda), scl=Pin(scl), freq=400_000, timeout=BUS_US)


def clear_bus():
    """Where a part holds the bus's data line, free it and return the bus begun anew; else None.

    A part that was stopped in the middle of a byte waits for the rest of its clocks: up to nine
    pulses until it lets go, then a stop condition (NXP, UM10204, section "Bus clear").
    """
    sda_pin, scl_pin = BUS_PINS
    if Pin(sda_pin).value():
        return None
    sda = Pin(sda_pin, Pin.IN, Pin.PULL_UP)
    scl = Pin(scl_pin, Pin.OPEN_DRAIN, Pin.PULL_UP, value=1)
    for _ in range(9):
        scl(0)
        time.sleep_us(5)  # half a period at 100 kHz, which every part keeps up with
        scl(1)
        time.sleep_us(5)
        if sda():
            break
    scl(0)
    sda = Pin(sda_pin, Pin.OPEN_DRAIN, Pin.PULL_UP, value=0)
    time.sleep_us(5)
    scl(1)
    time.sleep_us(5)
    sda(1)
    time.sleep_us(5)
    return bus()


def display_reset():
    """Return the pin that resets the display, driven high, None where it has none."""
    return None if DISPLAY_RESET_PIN is None else Pin(DISPLAY_RESET_PIN, Pin.OUT, value=1)


def rtc_pin():
    """Return the pin of the clock part's square wave, where one is fitted on the display's bus."""
    return Pin(6, Pin.IN, Pin.PULL_UP)


def strip():
    """Return the light strip."""
    return neopixel.NeoPixel(Pin(16), LAMPS)


def sounders():
    """Return the sounder and the line output; they share a PWM slice and so the tone."""
    return PWM(Pin(15)), PWM(Pin(14))


def timer():
    """Return a timer for the bell."""
    return machine.Timer(-1)


def watchdog():
    """Start the watchdog: the board resets when it is not fed for 8 s (8388 ms at most)."""
    return machine.WDT(timeout=8_000)


def watchdog_off() -> None:
    """Stop the watchdog, which MicroPython can't: clear ENABLE in WATCHDOG_CTRL.

    RP2040 datasheet, watchdog registers (address and bit from memory).
    """
    machine.mem32[0x40058000] &= ~(1 << 30)


def button(slot: int):
    """Return the pin of a button; it reads 0 while pressed."""
    return Pin(BUTTON_PINS[slot], Pin.IN, Pin.PULL_UP)


_battery = ADC(Pin(26))
_on_usb = Pin(24, Pin.IN)


def captures(pins):
    """Return a PIO capture for each button, None where the runtime has no PIO."""
    try:
        from box.capture import Capture
    except ImportError:
        return None
    return [Capture(number, pin) for number, pin in enumerate(pins)]


def edges():
    """Watch the infra-red receiver: for ``Hearing``, once; None without one, or without PIO."""
    if RECEIVER_PIN is None:
        return None
    try:
        from box.infrared import start
    except ImportError:
        return None
    return start(Pin(RECEIVER_PIN, Pin.IN, Pin.PULL_UP))


def sender():
    """Return what sends telegrams by infra-red, None without a diode or where there is no PIO."""
    if EMITTER_PIN is None:
        return None
    try:
        from box.emitter import Sender
    except ImportError:
        return None
    return Sender(Pin(EMITTER_PIN, Pin.OUT, value=0))


def battery_mv() -> int:
    """Return the cell's voltage in mV, on USB too: its divider is before its diode."""
    return _battery.read_u16() * BATTERY_FULL_MV // 65535


def on_usb() -> bool:
    """Whether USB feeds the board."""
    return bool(_on_usb())


def idle(until) -> None:
    """Wait a millisecond: pending callbacks run at its end (never sleep longer)."""
    time.sleep_ms(1)
