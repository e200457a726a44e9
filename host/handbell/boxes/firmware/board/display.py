"""Bus times of the display at 400 kHz and 1 MHz; the second leaves a chequer on the glass."""
# mypy: ignore-errors
# ruff: noqa: F821, UP031

from machine import I2C, Pin

from box.display import HEIGHT, TILE, WIDTH, Display

ADDRESS = 0x3C


def _wires(bus):
    """Return (number, scl, sda) of a bus, which only its printed form tells."""
    parts = [part.strip() for part in repr(bus)[4:-1].split(",")]
    named = dict(part.split("=") for part in parts[1:])
    return int(parts[0]), int(named["scl"]), int(named["sda"])


def _display(bus):
    return Display(bus, reset=board.display_reset(), paged=board.DISPLAY_PAGED)


def _passes(bus, odd):
    """Draw a chequer through the box's own driver; return the time of each pass."""
    display = _display(bus)
    for n in range(WIDTH // 16 * HEIGHT // 16):
        x, y = n % 8 * 16, n // 8 * 16
        display.canvas.fill_rect(x, y, 16, 16, (n % 8 + n // 8 + odd) & 1)
    display.drawn()
    passes = []
    more = True
    while more and len(passes) < 200:
        start = time.ticks_us()
        more = display.update(4 * TILE)
        passes.append(time.ticks_diff(time.ticks_us(), start))
    if not display.present:
        raise OSError("no display answers at this speed")
    return passes


_number, _scl, _sda = _wires(board.bus())
_figures = {}
for _odd, _khz in enumerate((400, 1000)):
    _bus = I2C(_number, freq=_khz * 1000, scl=Pin(_scl), sda=Pin(_sda))
    _display(_bus)
    _whole = bytearray(1025)
    _whole[0] = 0x40  # pixels follow
    _figures["bus%d_us" % _khz] = us(_bus.writeto, ADDRESS, _whole)
    _figures["pass%d_us" % _khz] = max(_passes(_bus, _odd))
show(**_figures)
