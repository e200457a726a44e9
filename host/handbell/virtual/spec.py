"""How a virtual box is made, and where its firmware is."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from handbell.base.files import private_file
from handbell.virtual.standin._rtc import ADDRESS as RTC_ADDRESS

FLASH_BLOCKS, FLASH_BLOCK_SIZE = 352, 4096
BATTERY_CHANNEL = 0
_HEAT_CHANNEL = 4
_ADC_FULL_MV = 3300
# The chip's sensor gives 0.706 V at 27 degrees (data sheet, from memory).
_HEAT_MV = 706


def firmware_root() -> Path:
    """The firmware's folder: a checkout's own, else the copy that was installed."""
    here = Path(__file__).resolve()
    checkout = here.parents[3] / "firmware"
    return checkout if checkout.is_dir() else here.parents[1] / "firmware"


def import_paths(firmware: Path) -> list[Path]:
    """Where a box finds its modules: the firmware's folder, and the core's if that is elsewhere."""
    if (firmware / "handbell_core").is_dir():
        return [firmware]
    return [firmware, Path(__file__).resolve().parents[2]]


@dataclass
class BoxSpec:
    """How one virtual box is made.

    `unique_id` is 8 bytes; `flash` a file, made when missing; `ppm` the crystal's error;
    `tick_origin` the ticks at power-up. Flash operations take `erase_us` a block of 4096 bytes
    and `program_us` a page of 256. With `cut_at_flash_op` = k power fails at the k-th erase or
    program after power-up (mounting counts), torn as `tear` says. `firmware` is another folder
    than the project's.

    `rtc` puts a real-time clock of the DS3231 type on the bus, which shows UTC when the box is
    made, `rtc_ppb` its rate's error and `rtc_pin` the pin that its square wave is on; with
    `rtc_lost` its oscillator had not run before, and it says so.

    `receiver` puts an infra-red receiver on `receiver_pin`; `VirtualBox.see` shows it light. With
    `repeats` a box has a diode too, by which it repeats what it hears; a remote always has one.

    `screen_kind` is whether the screen's controller takes ranges of columns and pages, or pages one
    by one.

    `broken` are parts that do not work: "display", "lamp 3", "sounder", "button 1", "battery";
    from the `flash_fails_at`-th erase or program on the flash reports errors.
    """

    name: str
    unique_id: bytes
    flash: Path
    ppm: int = 0
    buttons: int = 1
    serve: Literal["pty", "tcp"] = "pty"
    tick_origin: int = 0
    battery_mv: int = 4000
    erase_us: int = 45_000
    program_us: int = 400
    cut_at_flash_op: int | None = None
    tear: Literal["none", "half", "garbage"] = "none"
    firmware: Path | None = None
    button_pins: tuple[int, ...] = (10, 11, 12, 13)
    light_pin: int = 16
    light_leds: int = 8
    sound_pin: int = 15
    line_pin: int = 14
    vbus_pin: int = 24
    screen_address: int = 0x3C
    screen_kind: Literal["ranges", "pages"] = "ranges"
    rtc: bool = False
    rtc_ppb: int = 0
    rtc_pin: int = 6
    rtc_lost: bool = False
    receiver: bool = False
    receiver_pin: int = 18
    repeats: bool = False
    broken: tuple[str, ...] = ()
    flash_fails_at: int | None = None

    def blank_flash(self) -> None:
        """Makes the flash file, erased and for its owner only, unless it is there."""
        if not self.flash.exists():
            private_file(self.flash)
            self.flash.write_bytes(b"\xff" * (FLASH_BLOCKS * FLASH_BLOCK_SIZE))

    def configuration(
        self,
        at_us: int,
        cause: int,
        levels: dict[int, int],
        battery_mv: int,
        rtc_state: list[object] | None,
    ) -> dict[str, Any]:
        """What start.py is told at a power-up, as JSON goes; no `rtc_state` without that part."""
        return {
            "main": str((self.firmware or firmware_root()) / "main.py"),
            "unique_id": self.unique_id.hex(),
            "power_up_us": at_us,
            "ppm": self.ppm,
            "tick_origin": self.tick_origin,
            "reset_cause": cause,
            "levels": list(levels.items()),
            "adc": [
                (BATTERY_CHANNEL, battery_u16(0 if "battery" in self.broken else battery_mv)),
                (_HEAT_CHANNEL, _u16(_HEAT_MV)),
            ],
            "i2c": self._on_bus(),
            "buttons": self.buttons,
            "rtc": rtc_state,
            "rtc_pin": self.rtc_pin,
            "receiver_pin": self.receiver_pin if self.receiver else None,
            "repeats": self.repeats,
            "flash": str(self.flash.resolve()),
            "flash_blocks": FLASH_BLOCKS,
            "erase_us": self.erase_us,
            "program_us": self.program_us,
            "cut_at_flash_op": self.cut_at_flash_op,
            "tear": self.tear,
            "flash_fails_at": self.flash_fails_at,
        }

    def _on_bus(self) -> list[int]:
        screen = [] if "display" in self.broken else [self.screen_address]
        return [*screen, RTC_ADDRESS] if self.rtc else screen


def battery_u16(battery_mv: int) -> int:
    """What the converter reads of the battery, half of which reaches it."""
    return _u16(battery_mv // 2)


def _u16(millivolts: int) -> int:
    """12 bits stretched to 16, as the chip's runtime does it."""
    steps = max(0, min(4095, millivolts * 4095 // _ADC_FULL_MV))
    return steps << 4 | steps >> 8
