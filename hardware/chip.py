"""What an RP2040 on a Raspberry Pi Pico can do: the pins of its edge and the chip's limits.

Sources: RP2040 datasheet (functions and electrical limits) and Pico datasheet (the board's edge),
both from memory but for the figures that say otherwise. A Pico 2 has the same edge.
"""

from __future__ import annotations

# GPIO number -> pin of the board's edge, counted from the USB socket, anticlockwise.
EDGE = {
    0: 1, 1: 2, 2: 4, 3: 5, 4: 6, 5: 7, 6: 9, 7: 10, 8: 11, 9: 12, 10: 14, 11: 15, 12: 16, 13: 17,
    14: 19, 15: 20, 16: 21, 17: 22, 18: 24, 19: 25, 20: 26, 21: 27, 22: 29, 26: 31, 27: 32, 28: 34,
}  # fmt: skip
EDGE_GND = (3, 8, 13, 18, 23, 28, 33, 38)
EDGE_SUPPLY = {"VBUS": 40, "VSYS": 39, "3V3": 36}
EDGE_PINS = 40

ANALOGUE = (26, 27, 28)

VIL_V = 0.8  # quoted: the highest level that is surely low
VIH_V = 2.0  # quoted: the lowest level that is surely high
PIN_MA = 4.0  # quoted: the default of the drive strengths 2, 4, 8 and 12 mA
ALL_PINS_MA = 50.0  # quoted: the sum of all pins, sourced or sunk
CLAMP_MA = 2.0  # common practice: what a pin's protection may carry for long


def i2c(pin: int) -> tuple[int, str]:
    """Return (block, "sda" or "scl") of a GPIO: they take turns, two pins a block."""
    return pin // 2 % 2, ("sda", "scl")[pin % 2]


def pwm_slice(pin: int) -> int:
    """Return the PWM slice of a GPIO; its two channels share a frequency."""
    return pin // 2 % 8
