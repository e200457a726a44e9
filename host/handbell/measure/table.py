"""What a bench measures: the scripts, the figures they give, what is expected, what follows.

"(E)" marks a figure of the emulated chip, whose flash is as slow as a data sheet says is typical;
no real board was at hand when it was taken. Limits are the project's: what it was built to stand.
"""

from __future__ import annotations

from .items import Item, Script

_GAPS = (
    "LEAST_GAP_MS and MOST_GAP_MS in firmware/box/log.py, one and a half times the worst write; "
    "past 1000 ms also GAP_MS in host/handbell/compile/gaps.py"
)
_BUS = "bus() in firmware/boards/pico.py, or shorter wires and stronger pull-ups"
_SLOW = "PIECE_US in firmware/box/view.py: nothing slow begins that near to a cue"
_PIECE = "PIECE_US and PIECE_BYTES in firmware/box/view.py"
_BELL = "ARM_US in firmware/box/run.py and QUICK_HZ in firmware/box/sound.py"
_PIO = "firmware/box/capture.py, and captures() in firmware/boards/pico.py"
_COLLECT = "COLLECT_US in firmware/box/app.py: a collection begins only that far from a cue"
_INPUT = "BYTES_A_PASS in firmware/box/link.py, and CHUNK in firmware/handbell_core/frames.py"

_COLLECTIONS = (
    Item("gc_bare_us", "Collection, bare heap", "ms", "0.9 (E)", _COLLECT, 0.3, 2, 1000),
    Item("gc_74kb_us", "Collection, 74 KB live", "ms", "11.5 (E)", _COLLECT, 6, 17, 1000),
)
_FIRMWARE = (
    Item(
        "import_ms",
        "Firmware, import",
        "ms",
        "550 (E)",
        "what begin.py imports; compiled files, by handbell prepare",
        0,
        1500,
    ),
    Item(
        "modules_kb",
        "Firmware, heap its modules hold",
        "KB",
        "121 (E), less in an image; 140 leaves a class three times its 35",
        "docs/engineers/timing.md; docs/makers/image.md",
        0,
        140,
    ),
    Item("gc_firmware_us", "Collection, firmware loaded", "ms", "15 (E)", _COLLECT, 4, 20, 1000),
)
_FLASH = (
    Item(
        "flash_gap_us",
        "Flash, longest time without interrupts (an erase)",
        "ms",
        "46 (E, from a typical 45); 400 at most (data sheet, from memory)",
        _GAPS,
        20,
        400,
        1000,
    ),
    Item(
        "flash_append_us",
        "Flash, append 24 bytes and flush, median",
        "ms",
        "52 to 57 (E)",
        _GAPS,
        1,
        150,
        1000,
    ),
    Item(
        "flash_tail_us",
        "Flash, rewrite a file of 460 bytes, median",
        "ms",
        "3.4 (E)",
        "TAIL_BYTES in firmware/box/log.py",
        0.3,
        150,
        1000,
    ),
    Item(
        "flash_worst_us",
        "Flash, worst write of 80",
        "ms",
        "115 to 119 (E); 400 is what gaps are made for",
        _GAPS,
        20,
        400,
        1000,
    ),
)
_LINE = (
    Item(
        "line_us",
        "Parse a line of 256 characters",
        "ms",
        "1.1 (E)",
        "CHUNK in firmware/handbell_core/frames.py",
        0.5,
        1.6,
        1000,
    ),
)
_USB_OUT = (
    Item(
        "reply_us",
        "USB, write a reply of 200 bytes, worst of 50",
        "ms",
        "no figure yet; 3 is what a pass may take",
        "ANSWER_US in firmware/box/app.py, and send in firmware/box/link.py",
        0,
        3,
        1000,
    ),
    Item(
        "out_kb_s",
        "USB, rate out",
        "KB/s",
        "no figure yet; 40 reads out a long journal in seconds",
        "CHUNK in firmware/handbell_core/frames.py",
        40,
    ),
)
_USB_IN = (
    Item("in_kb_s", "USB, rate in, known length", "KB/s", "127 (E)", _INPUT, 60),
    Item("in_single_kb_s", "USB, rate in, byte by byte", "KB/s", "18 to 26 (E)", _INPUT, 12),
)
_DISPLAY = (
    Item(
        "bus400_us",
        "Display, 1025 bytes at 400 kHz",
        "ms",
        "24 to 27 (E); 23.1 at 9 bits a byte",
        _BUS,
        22,
        32,
        1000,
    ),
    Item("pass400_us", "Display, longest pass at 400 kHz", "ms", "4 (E)", _PIECE, 2, 5, 1000),
    Item(
        "bus1000_us",
        "Display, 1025 bytes at 1 MHz",
        "ms",
        "10.4 (E); 9.2 at 9 bits a byte",
        _BUS + "; if it is well and the chequer too, 1 MHz there halves what a piece costs",
        8.5,
        13,
        1000,
    ),
    Item("pass1000_us", "Display, longest pass at 1 MHz", "ms", "2 (E)", _PIECE, 0.8, 5, 1000),
)
_STRIP = (
    Item(
        "strip_us",
        "Light strip, write of 8 lamps",
        "us",
        "280 to 290 (E), about 30 a lamp",
        _SLOW,
        200,
        500,
    ),
)
_BELLS = (
    Item("bell_us", "Bell, due to tone set, median of 50", "us", "90 to 190 (E)", _BELL, 0, 300),
    Item(
        "bell_worst_us",
        "Bell, due to tone set, worst of 50",
        "us",
        "90 to 830 (E); 1000 is the budget",
        _BELL,
        0,
        1000,
    ),
)
_BATTERY = (
    Item(
        "battery_mv",
        "Battery, as the box reads it",
        "mV",
        "the cell's own voltage, cable or not: 2750 to 4250, or up to 4800 of three fresh "
        "alkaline cells; 8 % off until calibrated",
        "battery_mv in firmware/boards/pico.py; first compare with a multimeter",
        2530,
        5190,
    ),
    Item(
        "battery_spread_mv",
        "Battery, spread of 50 readings",
        "mV",
        "under 100 (our guess)",
        "the smoothing in firmware/box/power.py",
        0,
        100,
    ),
    Item("chip_c", "Chip's temperature", "degrees C", "some degrees over the room's", ""),
)
_PIN = (
    Item(
        "onset_us",
        "Bell, due to its pin, median of 20 (jumper)",
        "us",
        "115 to 320 (E); 200 is the budget",
        _BELL,
        0,
        200,
    ),
    Item(
        "onset_worst_us",
        "Bell, due to its pin, worst of 20 (jumper)",
        "us",
        "120 to 880 (E); 1000 is the budget",
        _BELL,
        0,
        1000,
    ),
    Item(
        "capture_us",
        "The same edge by PIO and by interrupt, most apart (jumper)",
        "us",
        "1310 (E); 2000 is the budget of a tap",
        _PIO,
        0,
        2000,
    ),
)
_PRESSES = (
    Item("presses_seen", "Presses seen in 8 s, 8 a second (jumper)", "", "64", _PIO, 60, 72),
    Item("presses_lost", "Presses lost through flash writes (jumper)", "", "0", _PIO, 0, 0),
    Item(
        "presses_doubled",
        "Presses seen twice (jumper)",
        "",
        "0",
        _PIO + "; CLOSED_US and OPEN_US in firmware/handbell_core/taps.py",
        0,
        0,
    ),
    Item(
        "press_error_us",
        "Press to press, most from the true period (jumper)",
        "us",
        "under 2000, the budget of a tap's time",
        _PIO,
        0,
        2000,
    ),
)

SCRIPTS = (
    Script("collections", ("common", "collect"), _COLLECTIONS),
    Script("firmware", ("common", "firmware", "load"), _FIRMWARE),
    Script("flash", ("common", "flash"), _FLASH),
    Script("a line", ("common", "line"), _LINE),
    Script("USB out", ("common", "usb_out"), _USB_OUT, skim=50 * 200 + 128 * 256),
    Script("USB in", ("common", "usb_in"), _USB_IN, feed=10_000),
    Script("display", ("common", "firmware", "display"), _DISPLAY),
    Script("light strip", ("common", "firmware", "strip"), _STRIP),
    Script("bells", ("common", "firmware", "bell"), _BELLS),
    Script("battery", ("common", "firmware", "senses"), _BATTERY),
    Script("bell's pin", ("common", "firmware", "wire", "onset"), _PIN),
    Script("presses", ("common", "firmware", "wire", "presses"), _PRESSES),
)

READY = Item(
    "ready_s",
    "Box, restart to its first answer",
    "s",
    "0.8 (E); 3 is the budget",
    "what firmware/begin.py imports and what App does first",
    0,
    3,
)
ROUND = Item(
    "round_us",
    "Link, round trip, shortest of 100",
    "ms",
    "no figure yet; half of it bounds a clock's error",
    "EXCHANGES in host/handbell/boxes/clocks/clock.py; no hub between",
    0,
    3,
    1000,
)
ROUND_MIDDLE = Item(
    "round_middle_us",
    "Link, round trip, median of 100",
    "ms",
    "no figure yet",
    "the loop's passes: docs/engineers/timing.md",
    0,
    10,
    1000,
)
CRYSTAL = Item(
    "crystal_ppm",
    "Crystal, fast against this computer",
    "ppm",
    "-30 to 30 (data sheet of the crystal), a computer's clock set by network",
    "measure again for 30 minutes; then the box's parts, or the skew that "
    "docs/engineers/timing.md allows",
    -30,
    30,
)
BY_LINK = (READY, ROUND, ROUND_MIDDLE, CRYSTAL)


def all_items() -> tuple[Item, ...]:
    """Return every item, in the order of the sheet."""
    return tuple(item for script in SCRIPTS for item in script.items) + BY_LINK
