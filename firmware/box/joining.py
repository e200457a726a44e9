"""What comes before a run that the power cut off is joined: the settings, the plan, the clock."""

import errno
import time

from handbell_core import faults
from handbell_core.agreement import RUNS
from handbell_core.runner import AGAIN, HELD, READY, SET, fault_of
from handbell_core.ticks import ticks_add, ticks_diff
from handbell_core.timeline import VersionError

from .loop import IDLE
from .run import Run

TYPE_CHECKING = False
if TYPE_CHECKING:
    from handbell_core.agreement import Act

    from .past import Past

JOIN_US = 60_000_000  # a clock part tells the time in two seconds; one that fails, 10 s later
JOIN_AGAIN_US = 1_000_000  # a join that fails, or what has to come before it, is tried again
JOIN_TRIES = 20  # so soon and so often
PLAN_TRIES = 3  # the plan that was chosen last, before another one is taken


class Joining(Run):
    """A run, and how one that was cut off is found again; all that fails is tried again."""

    def __init__(
        self, storage, keeper, log, account, sound, buttons, facts, trouble, hears=False
    ) -> None:
        """``hears``: the box has a receiver, so a remote may tell it where the class is."""
        Run.__init__(self, storage, keeper, log, account, sound, buttons, facts, trouble)
        self.hears = hears
        self._began = self._join_at = time.ticks_us()
        self._join_tries = 0
        # What was cut off, while it may come back: until then it is on as far as others can tell.
        self._past: "Past | None" = None
        self._settings_tries = JOIN_TRIES  # left to read them: nothing can be judged before
        self._past_tries = JOIN_TRIES  # left to read it; 0 when that is done, or given up
        self._past_wrong = 0  # times that what was read of it can't be
        self._plan_tries = JOIN_TRIES  # left to find a plan while none is loaded
        self._clock_tries = JOIN_TRIES  # left to give the run its clock, for one that may come back
        if not self._lacks_settings():
            self._read_past()

    @property
    def is_told(self) -> bool:
        """Whether a remote may tell where the class is that was cut off."""
        return self._past is not None and bool(self._past.key)

    def first(self) -> None:
        """Load the plan of a run that was cut, else the one selected last, else the newest."""
        if self._lacks_settings():
            self.fault = faults.FLASH_ERROR
        else:
            self._plan_tries -= 1
            others = JOIN_TRIES - self._plan_tries >= PLAN_TRIES
            self.find_plan(self._past.timeline if self._past else "", others)
        if self._lacks():  # what failed as the box started is tried again a second later, too
            self._join_at = ticks_add(time.ticks_us(), JOIN_AGAIN_US)

    def begin_log(self) -> None:
        """Begin the journal of a run that begins: nothing that was cut off comes back."""
        self._leave_past()
        Run.begin_log(self)

    # The clock

    def _owes_clock(self) -> bool:
        """Whether the box has another clock than its run, which has to get it.

        A run under way, and a start set by hand, go on by their old clock.
        """
        runner = self.runner
        if runner is None or self._taken is self.keeper.model:
            return False
        return runner.state in (READY, HELD, AGAIN) or runner.state == SET and not runner.by_hand

    def take_clock(self) -> None:
        """Let the run have the box's clock if it owes it; raises what reading the plan raises.

        What fails is tried again every second. A start that the host has set is kept in UTC.
        """
        if not self._owes_clock():
            return
        runner, old = self.runner, self.clock
        if runner.state != SET:
            self.new_runner()
            return
        clock = self._new_clock()
        if clock.model is not None:  # a start is not moved by one that is too unsure
            utc_ms = old.utc_ms(runner.starts_ms)
            later_ms = clock.ms - old.ms_of(clock.tick)
            runner.live_on(clock, later_ms)
            try:
                runner.arm(clock.run_ms_of_utc(utc_ms), clock.ms)
            except Exception as error:
                runner.live_on(old, -later_ms)
                raise error
            self.clock = clock
            self.account.tell_clock(self.dated_by())
        self._taken = self.keeper.model

    # What was cut off

    def _read_past(self) -> "Exception | None":
        """Read what the power cut off, unless nothing was, or the box can't join it again.

        Return what failed if that was the last try. A plan that is damaged, or not here, is
        looked at once more, as one read may be wrong.
        """
        self._past_tries -= 1
        try:
            name = self.storage.unfinished()
            self.facts.was_cut = bool(name)
            if name and (self.keeper.may_tell or self.hears):
                from .past import read_past  # seldom needed

                past = read_past(self.storage, name)
                if self.keeper.may_tell or past.key:  # else nobody tells where the class is
                    self._past = past
            self._past_tries = 0
        except Exception as error:  # noqa: BLE001 - whatever a log holds, the box must start
            self.trouble.tell("past", error)
            if isinstance(error, VersionError):
                self._past_tries = 0  # it is whole, and not to be played by this firmware
                return None
            may_pass = isinstance(error, (OSError, MemoryError))
            if not may_pass or getattr(error, "errno", 0) == errno.ENOENT:
                self._past_wrong += 1
                if self._past_wrong > 1:
                    self._past_tries = 0
                    if may_pass:
                        return None  # a plan that is gone is nothing to be mended
            return None if self._past_tries else error
        return None

    def _leave_past(self) -> None:
        self._past = None
        self._past_tries = 0

    def _give_past_up(self, error: Exception) -> None:
        """Nothing comes back, because of what failed for long; the box says so."""
        self._leave_past()
        if not self.fault:
            self.fault = fault_of(error)

    # Joining again

    def _lacks_settings(self) -> bool:
        """Whether the settings are still to be read, without which a start is not found."""
        return self._settings_tries > 0 and not self.storage.settings_read

    def _try_settings(self) -> None:
        """Read the settings. Nothing comes back to a box that can't read them for long."""
        self._settings_tries -= 1
        if self.storage.read_settings():
            return
        if self._settings_tries > 0:
            raise OSError(errno.EIO)
        self._leave_past()

    def _lacks_plan(self) -> bool:
        """Whether no plan is loaded though there is one, as far as could be read."""
        return self.runner is None and self.fault != 0 and self._plan_tries > 0

    def _lacks(self) -> bool:
        """Whether something is to be done before a run is joined."""
        if self._lacks_settings() or self._past_tries > 0:
            return True
        return self._lacks_plan() or self._owes_clock()

    def join_due_us(self, tick: int) -> int:
        """Return in how many microseconds a run that the power cut off is joined, or given up.

        Or what comes before that, and failed, is tried again: to read it, the plan, the clock.
        """
        if not self._lacks():
            if self._past is None or self.in_class:
                return IDLE
            if self.clock.model is None:
                return max(0, JOIN_US - ticks_diff(tick, self._began))
        away_us = ticks_diff(self._join_at, tick)
        return away_us if 0 < away_us <= JOIN_AGAIN_US else 0  # else it is of long ago: ticks wrap

    def _try_clock(self) -> None:
        """Let the run have its clock. Nothing comes back to a plan that can't be read for long."""
        try:
            self.take_clock()
        except Exception as error:
            self._clock_tries -= 1
            if self._clock_tries <= 0:
                self._give_past_up(error)
            raise error
        self._clock_tries = JOIN_TRIES

    def hear(self, data: bytes, tick: int) -> bool:
        """Take a telegram as a run does; it also brings back what the power cut off.

        Raises OSError.
        """
        past = self._past
        if past is None or not past.key or self.in_class or self._lacks():
            return Run.hear(self, data, tick)
        if self.selected != past.timeline:
            return False
        from handbell_core.telegram import unpack

        act = unpack(past.key, self.runner.head.plan, data, self.clock.ms_of(tick))
        if act is None or act.number < past.number:
            return False
        self._bring_back(past, act.number - 1)
        act = unpack(past.key, self.runner.head.plan, data, self.clock.ms_of(tick))
        return self.runner.hear(act, self.run_ms())

    def _bring_back(self, past: "Past", number: int) -> None:
        """Be in a class that an act past ``number`` brings back. Raises OSError."""
        try:
            self.heed(past.key, number)
            self.account.go_on(past, self.dated_by())
        except Exception as error:
            self.new_runner()  # one that nobody leads
            raise error
        self._past = None
        self.begun = True
        self.runner.resume(past.from_ms, self.run_ms())  # type: ignore[attr-defined]
        self.runner.alone, self.runner.cuts = past.alone, past.cuts

    def take_word(self, past: "Past", act: "Act") -> None:
        """Go by what this remote said last, which had not come as its power failed.

        Raises OSError, and what reading the plan raises.
        """
        from handbell_core.acts import gate_after

        utc_ms = self.clock.utc_ms(act.at_ms)
        gate_ms = gate_after(self.runner.timeline, act.class_ms)
        self._bring_back(past, act.number - 1)
        runner, run_ms = self.runner, self.run_ms()
        act.at_ms = self.clock.run_ms_of_utc(utc_ms)  # on a run, and a time, of its own
        runner.hear(act.as_it_is(run_ms, gate_ms), run_ms)
        if act.what == RUNS and act.at_ms < run_ms:
            # Not told: who has not heard it stands, and would have no time to be ready.
            runner.agreement.number += 1  # type: ignore[attr-defined]

    def join(self, tick: int) -> bool:
        """Go on with the class that the power cut off, in step with the other boxes.

        Return whether it is on. What fails is tried again every second for a while.
        """
        self._join_at = ticks_add(tick, JOIN_AGAIN_US)
        if self._lacks():
            if self._lacks_settings():
                self._try_settings()
            failed = self._read_past() if self._past_tries else None
            if self._lacks_plan():
                self.first()
            try:
                self._try_clock()
            finally:
                if failed is not None:
                    self._give_past_up(failed)  # last, as what is loaded takes a fault away
            return False
        past = self._past
        self._join_tries += 1
        if self.clock.model is None:
            self._leave_past()
            return False
        try:
            if self.selected != past.timeline and not self._load(past.timeline):
                raise OSError(errno.EIO)
            self.begun = past.go_on(self)
            if not self.begun and past.key and ticks_diff(tick, self._began) < JOIN_US:
                return False  # by its clock it is over, but the remote may know of a pause
        except Exception as error:
            self.log.close()  # a run begun by hand gets a log of its own
            try:
                self.new_runner()
            finally:
                if self._join_tries >= JOIN_TRIES:
                    self._give_past_up(error)
            raise error
        self._past = None
        if self.begun and self.room_us(time.ticks_us()) >= self.write_cost_us():
            self.blind(self.log.write)  # joins are counted by it: see ``Past.joins``
        return self.begun
