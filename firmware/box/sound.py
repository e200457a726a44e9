"""The sounder: plays a cue's motif step by step, never waiting.

A bell that others wait for too is armed ahead: its tone is set in silence, and a hard one-shot
timer opens it at its time, whatever the loop or the garbage collector is doing then. An answer to
one person's press gives way: it cuts no such bell, and such a bell cuts it.
"""

import time

from handbell_core.cues import ANSWERS, MOTIFS, NO_CUE
from handbell_core.ticks import ticks_add, ticks_diff

QUICK_HZ = 100_000  # a new duty takes effect at the end of a period, so the silence before
# an armed bell has short ones


class Sound:
    """Motifs on one or more PWM outputs that share a frequency; ``timer`` is a machine.Timer."""

    def __init__(self, outputs, duty: int, timer) -> None:
        self._outputs = outputs
        self._duty = duty
        self._timer = timer
        self._on_time = self._open  # bound once: a hard interrupt can't make it
        self._motif: tuple[tuple[int, int], ...] = ()
        self._is_bell = False  # the motif is one that others wait for too
        self._step = 0
        self._due = 0
        self._tone = 0
        self.armed = NO_CUE
        self._armed_due = 0
        self._opened = False
        self.opened_at = 0
        self.silent = False
        self.hush()

    @property
    def is_busy(self) -> bool:
        """Whether no bell can be armed now: a motif sounds, or none may."""
        return self.silent or bool(self._motif)

    def arm(self, cue: int, due: int) -> None:
        """Let ``cue`` begin at the tick ``due``, a few ms to some tens of ms ahead."""
        if self.silent or cue not in MOTIFS or self._motif and self._is_bell:
            return
        if self._motif:
            self.hush()
        self._tone = MOTIFS[cue][0][0]
        for output in self._outputs:
            output.freq(QUICK_HZ)
        self.armed = cue
        self._armed_due = due
        self._opened = False
        self._timer.init(
            mode=self._timer.ONE_SHOT,
            period=max(1, ticks_diff(due, time.ticks_us())),
            tick_hz=1_000_000,
            callback=self._on_time,
            hard=True,
        )

    def _open(self, timer) -> None:
        # A hard interrupt: only ready-made objects, no allocation.
        for output in self._outputs:
            output.duty_u16(self._duty)
        for output in self._outputs:
            output.freq(self._tone)
        self.opened_at = time.ticks_us()
        self._opened = True

    def disarm(self) -> None:
        """Take an armed bell back."""
        if self.armed != NO_CUE:
            self._timer.deinit()
            self.armed = NO_CUE
            if self._opened and not self._motif:
                self.hush()

    def play(self, cue: int, tick: int) -> int:
        """Start a cue due at ``tick`` (or go on with the one armed for it); return its onset.

        An answer is dropped while a bell sounds or is about to.
        """
        is_answer = cue in ANSWERS
        if is_answer and (self.armed != NO_CUE or self._motif and self._is_bell):
            return tick
        if self.silent or cue not in MOTIFS:
            self.disarm()
            return tick
        if cue == self.armed:
            self._timer.deinit()  # from here on it has opened, or never will
        ahead = cue == self.armed and self._opened
        onset = self.opened_at if ahead else time.ticks_us()
        if not ahead:
            self.disarm()
        self.armed = NO_CUE
        self._motif = MOTIFS[cue]
        self._is_bell = not is_answer
        self._step = 0
        self._due = onset
        if ahead:
            self._step = 1
            self._due = ticks_add(self._armed_due, self._motif[0][1] * 1000)
        self.poll(time.ticks_us())
        return onset

    def sweep(self, motif: "tuple[tuple[int, int], ...]", tick: int) -> None:
        """Play notes that are no cue, even on a silent box."""
        self.disarm()
        self._motif = motif
        self._is_bell = False
        self._step = 0
        self._due = tick
        self.poll(tick)

    def poll(self, tick: int) -> None:
        """Go on to the motif's next step when it is due."""
        try:
            self._go_on(tick)
        except Exception as error:
            self._motif = ()  # a sounder that fails holds nothing else up
            for output in self._outputs:
                try:
                    output.duty_u16(0)
                except Exception:  # noqa: BLE001 - the other one must still be silenced
                    pass
            raise error

    def _go_on(self, tick: int) -> None:
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
