"""What the box reads of its battery, and how warm the chip is."""
# mypy: ignore-errors
# ruff: noqa: F821

from machine import ADC

_mv = [board.battery_mv() for _ in range(50)]
_chip_mv = ADC(getattr(ADC, "CORE_TEMP", 4)).read_u16() * 3300 // 65535
show(
    battery_mv=middle(_mv),
    battery_spread_mv=max(_mv) - min(_mv),
    # RP2040 datasheet, temperature sensor (from memory): 706 mV at 27 C, -1.721 mV a degree.
    chip_c=27 - (_chip_mv - 706) * 1000 // 1721,
)
