"""How long writes take, and how long an erase keeps interrupts off."""
# mypy: ignore-errors
# ruff: noqa: F821, PTH123, UP031

from array import array

import machine

RECORD, TAIL = bytes(24), bytes(460)  # as the box's log writes them
APPENDS, TAILS = 60, 20
LEAST_FREE_KB = 64

_beats = array("i", [0, 0])  # the longest gap between two beats, the last beat


def _beat(timer):
    # A hard interrupt every millisecond: no allocation.
    now = time.ticks_us()
    gap = time.ticks_diff(now, _beats[1])
    if gap > _beats[0]:
        _beats[0] = gap
    _beats[1] = now


def _append(f):
    f.write(RECORD)
    f.flush()


def _rewrite():
    with open(SCRATCH, "wb") as f:
        f.write(TAIL)


def _measure():
    with open(SCRATCH, "wb") as f:
        appends = [us(_append, f) for _ in range(APPENDS)]
    return appends, [us(_rewrite) for _ in range(TAILS)]


_stat = os.statvfs(".")
if _stat[0] * _stat[3] // 1024 < LEAST_FREE_KB:
    raise OSError("less than %d KB of the flash are free" % LEAST_FREE_KB)
_timer = machine.Timer(-1)
_beats[1] = time.ticks_us()
_timer.init(mode=machine.Timer.PERIODIC, period=1, callback=_beat, hard=True)
try:
    time.sleep_ms(5)
    _beats[0] = 0
    _appends, _tails = _measure()
finally:
    _timer.deinit()
    clean()
show(
    flash_append_us=middle(_appends),
    flash_tail_us=middle(_tails),
    flash_worst_us=max(_appends + _tails),
    flash_gap_us=_beats[0],
)
