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
    return I2C(0, sda=Pin(4), scl=Pin(5), freq=400_000)


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


def battery_mv() -> int:
    """Return the cell's voltage in mV, on USB too: its divider is before its diode."""
    return _battery.read_u16() * BATTERY_FULL_MV // 65535


def on_usb() -> bool:
    """Whether USB feeds the board."""
    return bool(_on_usb())


def idle(until) -> None:
    """Wait a millisecond: pending callbacks run at its end (never sleep longer)."""
    time.sleep_ms(1)
