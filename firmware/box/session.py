"""The session: runs one after another, in time, and how one that was cut off is found again."""

import errno
import time

from handbell_core import faults, journal
from handbell_core.runner import AGAIN, HELD, READY, SET, STATES
from handbell_core.ticks import ticks_add, ticks_diff
from handbell_core.timeline import FormatError, VersionError

from .loop import IDLE
from .run import FAR_US, Run

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .past import Past

OVERDUE_US = 1_000_000  # a runner this far behind is stuck
SAVE_GAP_MS = 2_000  # a start is this far away where the settings are written
REST_MOST_MS = 86_400_000  # run time is begun anew after a day at rest
JOIN_US = 60_000_000  # a clock part tells the time in two seconds; one that fails, 10 s later
JOIN_AGAIN_US = 1_000_000  # a join that fails, or what has to come before it, is tried again
JOIN_TRIES = 20  # so soon and so often
PLAN_TRIES = 3  # the plan that was chosen last, before another one is taken
CLASS_NEAR_MS = 60_000
CUT = "cut"  # what a host is told while a run that was cut off may come back


class Session(Run):
    """The runs of a box. Requests, the screen and the loop see them through it."""

    def __init__(self, storage, keeper, log, account, sound, buttons, facts, trouble) -> None:
        Run.__init__(self, storage, keeper, log, account, sound, buttons, facts, trouble)
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

    def first(self) -> None:
        """Load the plan of a run that was cut, else the one selected last, else the newest."""
        if self._lacks_settings():
            self.fault = faults.FLASH_ERROR
            return
        self._plan_tries -= 1
        others = JOIN_TRIES - self._plan_tries >= PLAN_TRIES
        self.find_plan(self._past.timeline if self._past else "", others)

    def _begin(self) -> None:
        self._leave_past()
        Run._begin(self)

    # Time

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

    def keep_time(self, tick: int) -> None:
        """Let the clock part set the clock or the crystal's rate."""
        keeper = self.keeper
        owed = keeper.model is None or self._owes_clock()
        if not keeper.poll(tick, self._may_save(tick)):
            return
        if owed:
            self.take_clock()
        else:
            self._taken = keeper.model
            if self.clock.model is not None:
                self.clock.model = keeper.at_its_rate(self.clock.model)
                self.account.tell_clock(self.dated_by())
        self.changed()

    def _may_save(self, tick: int) -> bool:
        """Whether the settings may be written: at rest, or while a start that is set is far."""
        runner = self.runner
        if not self.in_class:
            return True
        return runner.state == SET and runner.starts_ms - self.clock.ms_of(tick) > SAVE_GAP_MS

    def is_well(self, tick: int) -> bool:
        """Whether runner and log have met their deadlines: only then is the watchdog fed."""
        return self.cue_in_us(tick) > -OVERDUE_US and not self.log.is_late(tick)

    def rest_due_us(self, tick: int) -> int:
        """Return in how many microseconds a box at rest must begin its run time anew."""
        runner = self.runner
        if runner is None or runner.state != READY:
            return IDLE
        return self.clock.wait_us(REST_MOST_MS, tick, FAR_US)

    def end(self) -> None:
        """Close the log of a run that has ended, and leave every file whole."""
        self.account.finish()
        self.log.close()

    # Joining again

    def _read_past(self) -> "Exception | None":
        """Read what the power cut off, unless nothing was, or the box can't join it again.

        Return what failed if that was the last try. A plan that is damaged, or not here, is
        looked at once more, as one read may be wrong.
        """
        self._past_tries -= 1
        try:
            name = self.storage.unfinished()
            self.facts.was_cut = bool(name)
            if name and self.keeper.may_tell:
                from .past import read_past  # seldom needed

                self._past = read_past(self.storage, name)
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
            self.fault = faults.FIRMWARE
            if isinstance(error, OSError):
                self.fault = faults.FLASH_ERROR
            elif isinstance(error, FormatError):
                self.fault = faults.TIMELINE_BROKEN

    @property
    def _may_come(self) -> bool:
        """Whether a run that was cut off may come back, as far as could be read."""
        return self._past is not None or self._past_tries > 0

    @property
    def busy(self) -> bool:
        """Whether a host must wait: a class runs, begins within a minute, or may have been cut."""
        if not self.in_class:
            return self._past_tries > 0  # what was cut could not be read yet
        runner = self.runner
        return runner.state != SET or runner.starts_ms - self.run_ms() < CLASS_NEAR_MS

    @property
    def word(self) -> str:
        """What a host is told of the run."""
        if self._may_come:
            return CUT
        return STATES[self.runner.state] if self.runner else "empty"

    @property
    def open_run(self) -> str:
        """The log of the run that is on, or may come back; "" if none."""
        if self._past is not None:
            return self._past.name
        return self.log.name if self.log.is_open else ""

    @property
    def start_only(self) -> bool:
        """Whether there is no more than a start to take back: no class is on, or may come back."""
        if self._may_come:
            return self._past is not None and self._past.zero_utc_ms < 0
        return not self.in_class or self.runner.state == SET

    def give_up(self, for_another: bool = False) -> None:
        """See that nothing comes back after the next start of the box, unless a run is on.

        What was cut off, and what has just ended, has its end on the flash then; else raises
        OSError, unless it is ``for_another`` run, whose log takes the place of one without an end.
        """
        self.finish()
        if self.account.is_over and not for_another:
            raise self._unwritten()
        if self.log.is_open:
            return
        storage = self.storage
        try:
            name = self.open_run or storage.unfinished()
        except OSError:
            name = ""  # what can't be read is not gone on with, and refuses no other class
        if name:
            storage.give_up(name)
        if storage.read_settings():  # else its log's end must do
            storage.save(start_ms=0)
        self._leave_past()

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

    def select(self, digest: str, for_another: bool = False) -> bool:
        """Make a timeline the one to play: no other run comes back. See ``give_up``.

        False, with nothing changed, when it is missing or broken. When ``give_up`` raises, what was
        loaded still is, with no start set.
        """
        new = self._made_of(digest)
        if new is None:
            return False
        was_set = self.in_class
        try:
            if was_set:
                self.runner.stop(self.run_ms(), journal.BY_HOST)
            self.give_up(for_another)
        except Exception as error:
            new[0].close()
            if was_set:
                self.new_runner()
            raise error
        self._take(digest, *new)
        self._keep_last()
        return True

    def turn_to(self, digest: str) -> bool:
        """Do the same for somebody at the box, who gets the plan though the flash takes no end."""
        if not Run.turn_to(self, digest):
            return False
        self.give_up()
        return True

    def drop(self, digest: str) -> None:
        """A timeline was erased by the host: what it was selected for is over. Raises OSError."""
        was_selected = digest == self.selected
        Run.drop(self, digest)
        if was_selected:
            self._plan_tries = JOIN_TRIES
            self.give_up()

    def button(self, slot: int, event: int, tick: int) -> bool:
        """Take a press as a run does; no page is turned while a cut class may yet be joined."""
        turns = Run.button(self, slot, event, tick)
        return turns and not self._may_come
