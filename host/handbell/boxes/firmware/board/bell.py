"""How late an armed bell sets its tone while memory is used up: as good as silent."""
# mypy: ignore-errors
# ruff: noqa: F821

from box.sound import Sound
from handbell_core.cues import GO

BELLS = 50
_sound = Sound(board.sounders(), 1, board.timer())
_late = []
for _n in range(BELLS):
    _tick = time.ticks_us()
    _due = time.ticks_add(_tick, 20_000 + 137 * _n)
    _sound.opened_at = _tick
    _sound.arm(GO, _due)
    while time.ticks_diff(time.ticks_us(), _due) < 2_000:
        bytearray(64)
    _late.append(time.ticks_diff(_sound.opened_at, _due))
    _sound.disarm()
if min(_late) < -5_000:
    raise RuntimeError("a bell's timer did not fire")
show(bell_us=middle(_late), bell_worst_us=max(_late))
