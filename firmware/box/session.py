"""The session: runs one after another, in time, and what others may do about them."""

from handbell_core import journal
from handbell_core.runner import READY, SET, STATES

from .joining import JOIN_TRIES, Joining
from .loop import IDLE
from .run import FAR_US, Run

OVERDUE_US = 1_000_000  # a runner this far behind is stuck
SAVE_GAP_MS = 2_000  # a start is this far away where the settings are written
REST_MOST_MS = 86_400_000  # run time is begun anew after a day at rest
CLASS_NEAR_MS = 60_000
CUT = "cut"  # what a host is told while a run that was cut off may come back,
AWAITS = "awaits"  # and while only the remote's word begins the class


class Session(Joining):
    """The runs of a box. Requests, the screen and the loop see them through it."""

    # Time

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
        return runner.awaits_start and runner.starts_ms - self.clock.ms_of(tick) > SAVE_GAP_MS

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

    # What others are told, and may do

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
        if runner.stands_by:
            return False
        return not runner.awaits_start or runner.starts_ms - self.run_ms() < CLASS_NEAR_MS

    @property
    def word(self) -> str:
        """What a host is told of the run."""
        if self._may_come:
            return CUT
        if self.runner is None:
            return "empty"
        if self.in_class and self.runner.stands_by:
            return AWAITS
        return STATES[SET if self.runner.awaits_start else self.runner.state]

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
        return not self.in_class or self.runner.awaits_start or self.runner.stands_by

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
