"""The sounder: plays a cue's motif step by step, never waiting."""

from handbell_core.cues import MOTIFS
from handbell_core.ticks import ticks_add, ticks_diff


class Sound:
    """Motifs on one or more PWM outputs that share a frequency."""

    def __init__(self, outputs, duty: int) -> None:
        self._outputs = outputs
        self._duty = duty
        self._motif: tuple[tuple[int, int], ...] = ()
        self._step = 0
        self._due = 0
        self.silent = False
        self.hush()

    def play(self, cue: int, tick: int) -> None:
        """Start a cue at ``tick``; a cue that still sounds gives way."""
        if self.silent or cue not in MOTIFS:
            return
        self._motif = MOTIFS[cue]
        self._step = 0
        self._due = tick
        self.poll(tick)

    def poll(self, tick: int) -> None:
        """Go on to the motif's next step when it is due."""
        while self._motif and ticks_diff(tick, self._due) >= 0:
            if self._step == len(self._motif):
                self.hush()
                return
            tone, length_ms = self._motif[self._step]
            self._step += 1
            self._due = ticks_add(self._due, length_ms * 1000)
            for output in self._outputs:
                if tone:
                    output.freq(tone)
                output.duty_u16(self._duty if tone else 0)

    def wait_us(self, tick: int) -> int:
        """Return the microseconds to the next step, -1 in silence."""
        return max(0, ticks_diff(self._due, tick)) if self._motif else -1

    def hush(self) -> None:
        """Be silent at once. Duty 0, since deinit may leave the pin high."""
        self._motif = ()
        for output in self._outputs:
            output.duty_u16(0)
