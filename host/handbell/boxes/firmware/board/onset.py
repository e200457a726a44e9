"""When a bell reaches its pin, timed by the box's own button capture over a jumper."""
# mypy: ignore-errors
# ruff: noqa: F821

from array import array

from machine import Pin

from box.sound import Sound
from handbell_core.cues import GO

BELLS = 20
_seen = array("i", [0, 0])  # whether an edge came, and its tick


def _edge(pin):
    # A hard interrupt: no allocation.
    if not _seen[0]:
        _seen[1] = time.ticks_us()
        _seen[0] = 1


def _ring(sound, capture, n):
    """Ring once; return (us from its due time to the pin, the same as PIO has it or None)."""
    if capture is not None:
        capture.clear()
    tick = time.ticks_us()
    due = time.ticks_add(tick, 30_000 + 137 * n)
    _seen[0] = 0
    sound.arm(GO, due)
    while time.ticks_diff(time.ticks_us(), due) < 10_000:
        bytearray(64)
    edges = capture.ticks() if capture is not None else []
    sound.disarm()
    time.sleep_ms(5)  # the pin is low only at the end of the tone's period
    if not _seen[0]:
        raise RuntimeError("a bell did not reach the pin")
    by_pio = time.ticks_diff(edges[0], due) if edges else None
    return time.ticks_diff(_seen[1], due), by_pio


def _rings():
    pin = board.button(0)
    captures = board.captures([pin])
    capture = captures[0] if captures else None
    sound = Sound(board.sounders(), board.SOUND_DUTY, board.timer())
    pin.irq(_edge, Pin.IRQ_RISING, hard=True)
    try:
        return [_ring(sound, capture, n) for n in range(BELLS)]
    finally:
        pin.irq(None)
        sound.hush()


if wired():
    _times = _rings()
    _late = [late for late, _ in _times]
    _apart = [abs(late - by_pio) for late, by_pio in _times if by_pio is not None]
    _figures = {"onset_us": middle(_late), "onset_worst_us": max(_late)}
    if _apart:
        _figures["capture_us"] = max(_apart)
    show(**_figures)
else:
    show(left_out=NO_JUMPER)
