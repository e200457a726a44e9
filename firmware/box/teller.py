"""Tells the newest act by infra-red: makes its telegram in a pause, begins it at its instant.

The remote does so, and boxes with a diode do that heed one: they repeat what they heard.
"""

import time

from handbell_core.bursts_out import lasts_us
from handbell_core.slots import END_MS, OFF_MOST_US, REMOTE, Telling
from handbell_core.states import NEVER
from handbell_core.telegram import KEY_SIZE
from handbell_core.ticks import ticks_add, ticks_diff

from .loop import IDLE, Job

TELL_US = 12_000  # making a telegram reads the timeline
AHEAD_MS = 20  # so long before its slot begins it is made, if there is time for it
SPIN_US = 3_000  # so long before it begins it is waited for, and nothing else done
LATE_US = 1_000
FAR_US = 2_000_000
DARK_US = 2_000  # what a receiver sees so soon after a telegram is still its box's own


class Teller:
    """Tells what the run of ``session`` agreed on last; ``sender`` sends it.

    ``leads``: it is the remote, whose class goes by its clock; a box repeats only by a sure one.
    """

    def __init__(self, session, sender, leads: bool) -> None:
        self._session = session
        self._sender = sender
        self._leads = leads
        self._telling: "Telling | None" = None
        self._ready = b""  # the telegram to be sent,
        self._number = 0  # of which act,
        self._slot_ms = 0  # in which slot,
        self._begins = time.ticks_us()  # and when
        self._sent = self._dark = self._begins  # when the last one began, and its light was over

    def job(self) -> Job:
        """Return what the loop has to do for it."""
        return Job("tell", SPIN_US + TELL_US, self.due_us, self.tell)

    def hear(self, data: bytes, tick: int) -> bool:
        """Take a telegram as the session does, but for what was seen while this box sent."""
        if ticks_diff(tick, self._sent) >= 0 and ticks_diff(self._dark, tick) >= 0:
            return False
        return self._session.hear(data, tick)

    def due_us(self, tick: int) -> int:
        """Return in how many microseconds a telegram is to be made, or to begin."""
        session = self._session
        runner = session.runner
        if runner is None or not runner.heeds:
            return IDLE
        telling = self._telling
        if telling is None or telling.runner is not runner:
            telling = self._telling = self._new_telling(runner)
            self._ready = b""  # it was of the class before
        if self._ready and self._number == runner.agreement.number:
            return max(0, ticks_diff(self._begins, tick) - SPIN_US)
        clock = session.clock
        slot_ms = telling.slot_ms(clock.ms_of(tick))
        if slot_ms == NEVER:
            return IDLE
        return max(0, clock.wait_us(slot_ms - AHEAD_MS, tick, FAR_US))

    def _new_telling(self, runner) -> "Telling":
        if self._leads:
            return Telling(runner, REMOTE, 1)
        session = self._session
        station, stations = session.storage.settings["station"], session.key[KEY_SIZE]
        if not REMOTE < station <= stations:
            station = stations = 0
        return Telling(runner, station, stations)

    def tell(self, tick: int) -> None:
        """Make a telegram, or begin to send the one that is made."""
        session, telling = self._session, self._telling
        if not self._ready or self._number != session.runner.agreement.number:
            self._make(telling, tick)
            return
        data, self._ready = self._ready, b""
        begins = self._begins
        while ticks_diff(begins, time.ticks_us()) > 0:
            pass
        late_us = ticks_diff(time.ticks_us(), begins)
        if late_us < LATE_US and not self._sender.is_busy():  # else it would tell a wrong instant
            self._sent, self._dark = begins, ticks_add(self._sender.send(data), DARK_US)
            telling.told(self._slot_ms)

    def _make(self, telling, tick: int) -> None:
        session = self._session
        clock = session.clock
        slot_ms = telling.slot_ms(clock.ms_of(tick))
        if not self._leads:
            model = clock.model
            if model is None or model.error_us(session.keeper.box_us()) > OFF_MOST_US:
                telling.told(slot_ms)  # it would talk into another's slot
                return
        end_ms = slot_ms + END_MS
        self._ready = data = telling.telegram(session.key, end_ms)
        self._number, self._slot_ms = telling.number, slot_ms
        self._begins = ticks_add(clock.tick_of(end_ms), -lasts_us(data))


def repeat(board, session, loop):
    """Let a box with a diode repeat what it hears; return what takes what its receiver saw.

    A remote repeats nothing: it tells by itself.
    """
    sender = None if session.storage.settings["remote"] else board.sender()
    if sender is None:
        return session.hear
    teller = Teller(session, sender, False)
    loop.jobs += (teller.job(),)
    return teller.hear
