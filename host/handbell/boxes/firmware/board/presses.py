"""Presses made by the sounder's pin over a jumper, counted through flash writes."""
# mypy: ignore-errors
# ruff: noqa: B905, F821, PTH123

from box.buttons import Buttons
from handbell_core.taps import PRESS

FOR_MS = 8_000
WRITE_EVERY_MS = 500


class _Presses:
    def __init__(self):
        self.ticks = []

    def button(self, slot, event, tick):
        if event == PRESS:
            self.ticks.append(tick)


def _start(out):
    """Let the pin open and close the button by itself; return its period."""
    for hz in (8, 9):  # a PWM goes no slower, on a faster chip
        try:
            out.freq(hz)
            out.duty_u16(32_768)
            return 1_000_000 // hz
        except ValueError:
            pass
    raise ValueError("the buzzer's pin can't be slow enough")


def _write(buttons, sink, f):
    buttons.before_blind(time.ticks_us(), sink)
    start = time.ticks_us()
    f.write(bytes(24))
    f.flush()
    buttons.blind(start, time.ticks_us(), sink)


def _count():
    """Return (ticks of the presses seen, period of those made)."""
    out, pins, sink = board.sounders()[0], [board.button(0)], _Presses()
    buttons = Buttons(pins, board.captures(pins))
    try:
        period_us = _start(out)
        with open(SCRATCH, "wb") as f:
            for _ in range(0, FOR_MS, WRITE_EVERY_MS):
                end = time.ticks_add(time.ticks_us(), WRITE_EVERY_MS * 1000)
                while time.ticks_diff(end, time.ticks_us()) > 0:
                    buttons.take(time.ticks_us(), sink)
                    time.sleep_ms(1)
                _write(buttons, sink, f)
    finally:
        out.duty_u16(0)
        pins[0].irq(None)
        clean()
    return sink.ticks, period_us


if wired():
    _ticks, _period_us = _count()
    _gaps = [time.ticks_diff(_ticks[n + 1], _ticks[n]) for n in range(len(_ticks) - 1)]
    _steps = [(gap + _period_us // 2) // _period_us for gap in _gaps]
    show(
        presses_seen=len(_ticks),
        presses_lost=sum([max(0, steps - 1) for steps in _steps]),
        presses_doubled=_steps.count(0),
        press_error_us=max([abs(g - s * _period_us) for g, s in zip(_gaps, _steps)] or [0]),
    )
else:
    show(left_out=NO_JUMPER)
