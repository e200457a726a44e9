"""The run: its start and its log, the runner's steps, presses and effects."""

import errno
import time

from handbell_core import faults, journal
from handbell_core.cues import NO_CUE
from handbell_core.runner import FAULT, HOLD_MS, NEVER, OVER, READY, SET
from handbell_core.taps import PRESS
from handbell_core.ticks import ticks_add, ticks_diff

from .loaded import Loaded, nothing
from .loop import IDLE
from .storage import ENOSPC

TYPE_CHECKING = False
if TYPE_CHECKING:
    from handbell_core.clock import ClockModel
    from handbell_core.runner import Runner

    from .desk import Desk

TOO_LATE_US = 500_000  # a bell later than this would only mislead
FAR_US = 2_000_000  # more room than any job needs
ARM_US = 40_000  # a bell is armed this long ahead
ARM_LEAST_US = 1_000
OVER_SHOWN_US = 60_000_000
OVER_LEAST_US = 3_000_000  # late taps of a class take no end screen away
STALL_MORE_US = 2_000  # an edge may be told so late after a write


class Run(Loaded):
    """The run of what is loaded, whose sink it is.

    ``open_look(cue_ms)`` is called when a cue is due; whoever draws sets it.
    """

    def __init__(self, storage, keeper, log, account, sound, buttons, facts, trouble) -> None:
        Loaded.__init__(self, storage, keeper, sound, facts, trouble)
        self.log = log
        self.account = account
        self.buttons = buttons
        self.open_look = nothing
        self.listen = nothing  # whoever hears what a remote says sets it
        self.presses: Desk = None  # what takes presses; whoever reads the buttons sets it
        # The runner at which each press began, and its state then.
        self._pressed_in: list[tuple[Runner | None, int]] = [(None, 0)] * buttons.count
        tick = time.ticks_us()
        self._over_until = tick
        self._kept_start_ms = NEVER
        self._stall_from = self._stall_to = tick  # of the last write
        self.key = b""  # of the remote that leads the run, if one does; then the number of stations

    def dated_by(self) -> "ClockModel | None":
        """Return the clock that dates a run: its own, or one that is too unsure to go by."""
        return self.clock.model or self.keeper.model

    # When

    def cue_in_us(self, tick: int) -> int:
        """Return the microseconds to the next cue, two seconds at most; below 0 if overdue."""
        runner = self.runner
        return FAR_US if runner is None else self.clock.wait_us(runner.cue_ms(), tick, FAR_US)

    def room_us(self, tick: int) -> int:
        """Return how long nobody notices it if the box does something slow."""
        if self.buttons.pending():
            return 0
        room_us, step_us = self.cue_in_us(tick), self.sound.wait_us(tick)
        return step_us if 0 <= step_us < room_us else room_us

    # The run

    def arm(self, start_ms: int) -> None:
        """Set the class start, in run time; raises OSError, with no start set, without a log."""
        try:
            self.runner.arm(start_ms, self.run_ms())
            self.begin_log()
            if not self.log.write():  # from now on a power failure loses no class
                raise self._unwritten()
            self.storage.save(start_ms=self.clock.utc_ms(start_ms), start_run=self.log.name)
        except Exception as error:
            self.disarm()  # a host that is told no must not find the box starting alone
            raise error

    def stand_by(self, key: bytes) -> None:
        """Be ready for a class that a remote will start; raises OSError, with none to come."""
        self.heed(key)
        try:
            self.runner.wait_again(0, self.run_ms(), journal.BY_HOST, self.begin_log)
            if not self.log.write():
                raise self._unwritten()
        except Exception as error:
            self.disarm()
            raise error

    def heed(self, key: bytes, number: int = 0) -> None:
        """Let a remote lead a run that is still to come, but for its acts up to ``number``.

        Raises what reading the plan raises.
        """
        import handbell_core.recall  # so that nothing is loaded in class
        import handbell_core.telegram  # noqa: F401
        from handbell_core.led import Led

        self.listen()
        self.key = key
        runner, title = self._runner_of(self._file, Led)
        self._take_runner(runner, title)
        runner.heed(number)  # type: ignore[attr-defined]

    def hear(self, data: bytes, tick: int) -> bool:
        """Take a telegram that ended at a raw tick; False for one that says nothing new here."""
        runner = self.runner
        if runner is None or not runner.heeds:
            return False
        from handbell_core.telegram import unpack  # only where a remote leads

        act = unpack(self.key, runner.head.plan, data, self.clock.ms_of(tick))
        if act is None or not runner.hear(act, self.run_ms()):
            return False
        if self.sound.armed:  # it may be a bell that the act calls off
            self.sound.disarm()
        return True

    def _unwritten(self) -> OSError:
        """Return the reason why the log is not on the flash."""
        return OSError(ENOSPC if self.log.fault == faults.STORAGE_FULL else errno.EIO)

    def disarm(self) -> None:
        """Take the start back: the run is over before it began."""
        self.runner.stop(self.run_ms(), journal.BY_HOST)
        self.new_runner()

    def begin_log(self) -> None:
        """A run begins: its journal."""
        self._kept_start_ms = NEVER
        self.account.begin(self.selected, self.dated_by(), self.key if self.runner.heeds else b"")
        self.begun = True

    def start_due_us(self, tick: int) -> int:
        """Return whether (0) a start set by hand is to be kept: the power may fail before it."""
        runner = self.runner
        if runner is None or runner.state != SET or not self.begun or not runner.by_hand:
            return IDLE
        if not self.log.name:
            return IDLE  # its file is to be opened first, with a write
        return IDLE if runner.starts_ms == self._kept_start_ms else 0

    def keep_start(self, tick: int) -> None:
        """Keep a start set by hand as one that a host has set."""
        start_ms = self.runner.starts_ms
        utc_ms = self.clock.utc_ms(start_ms)
        if utc_ms >= 0:
            self.blind(lambda: self._keep_start(utc_ms))
        self._kept_start_ms = start_ms

    def _keep_start(self, utc_ms: int) -> None:
        kept = self.log.write()  # a start is found again by its log
        try:
            self.storage.save(start_ms=utc_ms, start_run=self.log.name)
        except OSError as error:
            if error.errno != ENOSPC:  # no later try finds more room
                raise
        if not kept and self.log.fault != faults.STORAGE_FULL:
            raise self._unwritten()

    def step_due_us(self, tick: int) -> int:
        """Return in how many microseconds the runner has something to do."""
        runner = self.runner
        if runner is None:
            return IDLE
        if not self.begun and self.in_class:
            return 0
        if runner.state == OVER:
            return max(0, ticks_diff(self._over_until, tick))
        return max(0, self.clock.wait_us(runner.due_ms, tick, FAR_US))

    def step(self, tick: int) -> None:
        """Let the runner do what is due; begin the log of a run that began by hand."""
        runner = self.runner
        self._open_due(tick)
        run_ms = self.clock.ms_of(tick)
        try:
            if run_ms >= runner.due_ms:
                runner.step(run_ms)
        finally:
            if not self.begun and self.in_class:
                self.begin_log()
        if runner.state == OVER and ticks_diff(tick, self._over_until) >= 0:
            self.new_runner()

    def _open_due(self, tick: int) -> None:
        if self.cue_in_us(tick) <= 0:
            try:
                self.open_look(self.runner.cue_ms())
            except Exception as error:  # noqa: BLE001 - the runner steps all the same
                self.trouble.tell("look", error)

    def bell_due_us(self, tick: int) -> int:
        """Return in how many microseconds a bell is to be armed, or taken back."""
        runner = self.runner
        if runner is None or self.sound.is_busy:
            return IDLE
        bell_us = self.cue_in_us(tick)
        if self.sound.armed:
            return 0 if bell_us > ARM_US else IDLE  # it was put off or taken away meanwhile
        if bell_us > ARM_US:
            return bell_us - ARM_US
        return 0 if bell_us > ARM_LEAST_US and runner.bell_cue() != NO_CUE else IDLE

    def arm_bell(self, tick: int) -> None:
        """Have the next bell ring by the timer, or take it back."""
        if self.sound.armed:
            self.sound.disarm()
        else:
            runner = self.runner
            self.sound.arm(runner.bell_cue(), self.clock.tick_of(runner.cue_ms()))

    # Presses

    def button(self, slot: int, event: int, tick: int) -> bool:
        """Take a debounced press or release; return whether a page is to be turned at rest."""
        runner = self.runner
        if runner is None:
            return event != PRESS
        at_ms = self.clock.ms_of(tick)
        self._open_due(tick)  # the runner steps up to the press first
        if event == PRESS:
            self._pressed_in[slot] = runner, runner.state
            runner.press(slot, at_ms)
            return False
        was_down = runner.down[slot]
        runner.release(slot, at_ms, self._in_stall(tick))
        began_at, state = self._pressed_in[slot]
        if began_at is not runner or state != runner.state or not was_down:
            return False  # the press began in something else
        if state == FAULT and runner.held_ms >= HOLD_MS:  # who taps hasn't seen it yet
            self.new_runner()
        elif state == OVER and self._over_for_us(tick) >= OVER_LEAST_US:
            self.new_runner()
        return state == READY and runner.held_ms < HOLD_MS and not any(runner.down)

    def _over_for_us(self, tick: int) -> int:
        return OVER_SHOWN_US + ticks_diff(tick, self._over_until)

    # The log

    def write_cost_us(self) -> int:
        """Return how far away the next cue must be for a write."""
        return self.log.gap_ms() * 1000

    def write_due_us(self, tick: int) -> int:
        """Return in how many microseconds the log is to be written or, after a run, closed."""
        if self.account.is_over:
            # When the closing motif has sounded.
            return max(0, self.sound.wait_us(tick), self.log.end_due_us(tick))
        return self.log.due_us(tick) if self.log.is_open else IDLE

    def write(self, tick: int) -> None:
        """Write what is queued; end the log of a run that has ended."""
        if self.account.is_over:
            self.account.finish(self.blind)
        else:
            self.blind(self.log.write)

    def finish(self) -> None:
        """Close the log of a run that has ended now, whatever sounds."""
        if self.account.is_over:
            self.account.finish(self.blind)

    def blind(self, write) -> None:
        """Write to the flash, which stops the chip, and make up for what was not seen."""
        self._stall_from = time.ticks_us()
        try:
            self.buttons.before_blind(self._stall_from, self.presses)
        except Exception as error:  # noqa: BLE001 - what is to be kept is kept all the same
            self.trouble.tell("presses", error)
        try:
            write()
        finally:
            self._stall_to = time.ticks_us()
            self.buttons.blind(self._stall_from, self._stall_to, self.presses)

    def _in_stall(self, tick: int) -> bool:
        """Whether an edge at ``tick`` may have waited for the last write to end."""
        if self.buttons.sees_all:
            return False
        after_us = ticks_diff(tick, self._stall_to)
        return ticks_diff(tick, self._stall_from) >= 0 and after_us <= STALL_MORE_US

    # Effects of the runner, which is halfway when it calls them: none may raise

    def bell(self, cue: int, due_ms: int) -> None:
        """Ring a cue; one that is much too late is not rung, and either way it is counted."""
        try:
            self._bell(cue, due_ms)
        except Exception as error:  # noqa: BLE001 - see above
            self.trouble.tell("sound", error)

    def _bell(self, cue: int, due_ms: int) -> None:
        tick = time.ticks_us()
        if due_ms == NEVER:
            self.sound.play(cue, tick)
            return
        late_ms = self.clock.ms_of(tick) - due_ms
        if late_ms > TOO_LATE_US // 1000:  # a gate may be left so late that no tick tells it
            self.account.rang(late_ms * 1000, self._class_ms())
            return
        due = self.clock.tick_of(due_ms)
        late_us = ticks_diff(tick, due)
        if late_us <= TOO_LATE_US:
            late_us = ticks_diff(self.sound.play(cue, due), due)
        self.account.rang(late_us, self._class_ms())

    def _class_ms(self) -> int:
        return self.runner.class_ms(self.run_ms())

    def keep(self, record: bytes) -> None:
        """Queue a journal record."""
        try:
            self.account.keep(record)
        except Exception as error:  # noqa: BLE001 - see above
            self.trouble.tell("log", error)

    def recall(self, counting) -> None:
        """Count again what of the log still holds; what can't be read stays out of the counts."""
        try:
            self.account.recall(counting)
        except Exception as error:  # noqa: BLE001 - the host counts from the log anyway
            self.trouble.tell("log", error)

    def over(self, cause: int, class_ms: int) -> None:
        """The run ended; its journal is closed when the closing motif has sounded."""
        self._over_until = ticks_add(time.ticks_us(), OVER_SHOWN_US)
        try:
            self.account.over(cause, class_ms)
        except Exception as error:  # noqa: BLE001 - see above
            self.trouble.tell("log", error)
