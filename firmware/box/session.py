"""The session: which plan is loaded, the run of it, its log, and how a run is found again.

It owns the runner and is its sink. Requests, the screen and the loop see the run through it.
"""

import errno
import gc
import time

from handbell_core import faults, journal
from handbell_core.clock import ANCHOR_EVERY_MS, RunTime
from handbell_core.cues import NO_CUE
from handbell_core.runner import NEVER, OVER, READY, SET, Runner
from handbell_core.taps import PRESS
from handbell_core.ticks import ticks_add, ticks_diff
from handbell_core.timeline import FormatError, Reader

from .loop import IDLE
from .storage import ENOSPC

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import BinaryIO

    from handbell_core.clock import ClockModel

    from .desk import Desk
    from .past import Past

TOO_LATE_US = 500_000  # a bell later than this would only mislead
CLASS_NEAR_MS = 60_000
SAVE_GAP_MS = 2_000  # a start is this far away where the settings are written
FAR_US = 2_000_000  # more room than any job needs
ARM_US = 40_000  # a bell is armed this long ahead
ARM_LEAST_US = 1_000
OVERDUE_US = 1_000_000  # a runner this far behind is stuck
OVER_SHOWN_US = 60_000_000
OVER_LEAST_US = 3_000_000  # late taps of a class take no end screen away
REST_MOST_MS = 86_400_000  # run time is begun anew after a day at rest
STALL_MORE_US = 2_000  # an edge may be told so late after a write
JOINS_MOST = 8  # what cuts a run so often would cut it again


class Session:
    """One timeline after another, and the runs of it.

    ``facts`` takes what the screens tell of it. ``changed`` is called when something to be seen
    changed, ``open_look(cue_ms)`` when a cue is due; whoever draws sets both.
    """

    def __init__(self, storage, keeper, log, account, sound, buttons, facts, trouble) -> None:
        tick = time.ticks_us()
        self.storage = storage
        self.keeper = keeper
        self.log = log
        self.account = account
        self.sound = sound
        self.buttons = buttons
        self.facts = facts
        self.trouble = trouble
        self.changed = _nothing
        self.open_look = _nothing
        self.presses: Desk = None  # what takes presses; whoever reads the buttons sets it
        self.fault = 0  # why nothing can be played
        self.selected = ""
        self._file: "BinaryIO" = None
        self.runner: Runner = None
        self.clock = RunTime(0, tick)
        self._begun = False  # the runner's run has its log
        self.part_set_clock = False  # the clock part did, so that a cut class can be joined
        self._pressed_in = [0] * buttons.count  # the runner's state when each press began
        self._over_until = tick
        self._stall_from = self._stall_to = tick  # of the last write
        self._past: "Past | None" = self._read_past()

    # Time

    def run_ms(self) -> int:
        """Return the runner's time."""
        return self.clock.ms_of(time.ticks_us())

    def clock_changed(self) -> None:
        """The box has another clock than before.

        A start that the host has set is kept in UTC; a run under way goes on by its old clock.
        """
        runner = self.runner
        if runner is None:
            return
        if runner.state == READY:
            self.new_runner()
        elif runner.state == SET and not runner.by_hand:
            utc_ms = self.clock.utc_ms(runner.starts_ms)
            self.clock = runner.clock = self._new_clock()
            runner.arm(self.clock.run_ms_of_utc(utc_ms))
            self.account.tell_clock(self.dated_by())

    def _new_clock(self) -> RunTime:
        tick = time.ticks_us()
        return RunTime(self.keeper.extender.extend(tick), tick, self.keeper.shared())

    def anchor_due_us(self, tick: int) -> int:
        """Return in how many microseconds the run's time needs a new anchor."""
        return max(0, ANCHOR_EVERY_MS * 1000 - self.clock.us_since_anchor(tick))

    def anchor(self, tick: int) -> None:
        """Tie the run's time to the box's anew."""
        self.clock.anchor(self.keeper.extender.extend(tick), tick)

    def keep_time(self, tick: int) -> None:
        """Let the clock part set the clock or the crystal's rate."""
        keeper = self.keeper
        lost = keeper.model is None
        if not keeper.poll(tick, self._may_save(tick)):
            return
        if lost:
            self.part_set_clock = True
            self.clock_changed()
        elif self.clock.model is not None:
            self.clock.model = keeper.at_its_rate(self.clock.model)
            self.account.tell_clock(self.dated_by())
        self.changed()

    def _may_save(self, tick: int) -> bool:
        """Whether the settings may be written: at rest, or while a start that is set is far."""
        runner = self.runner
        if not self.in_class:
            return True
        return runner.state == SET and runner.starts_ms - self.clock.ms_of(tick) > SAVE_GAP_MS

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

    # What is loaded

    @property
    def in_class(self) -> bool:
        """Whether a run is under way: nothing may disturb it then."""
        runner = self.runner
        return runner is not None and runner.state != READY and runner.state != OVER

    @property
    def busy(self) -> bool:
        """Whether a host must wait: a class runs, or begins within a minute."""
        if not self.in_class:
            return False
        runner = self.runner
        return runner.state != SET or runner.starts_ms - self.run_ms() < CLASS_NEAR_MS

    def first_timeline(self) -> None:
        """Select what was cut, else what was selected last, else the newest that is whole."""
        have = self.storage.timelines()
        last = self._past.timeline if self._past else self.storage.settings["last"]
        chosen = [last, last] if last in have else []  # a read may fail once
        for digest in chosen + have[::-1]:
            if self._load(digest):
                if chosen and digest != last:
                    self.fault = faults.TIMELINE_BROKEN  # told: it is not the one they chose
                return
            self.fault = faults.TIMELINE_BROKEN

    def select(self, digest: str) -> bool:
        """Make a timeline the one to play; False when it is missing or broken."""
        if not self._load(digest):
            return False
        if self.storage.settings["last"] != digest:
            try:
                self.storage.save(last=digest)
            except OSError:
                pass  # a full flash: after the next start another may be selected
        return True

    def _load(self, digest: str) -> bool:
        """Load a timeline; False, with what was loaded still there, when that can't be done."""
        new = None
        try:
            new = self.storage.open_timeline(digest)
            runner, title = self._runner_of(new)
        except (OSError, FormatError, MemoryError) as error:
            if new is not None:
                new.close()
                self.trouble.tell("plan", error)
            return False
        self._leave()
        self._file = new
        self.selected = digest
        self.fault = 0
        self._take_runner(runner, title)
        return True

    def _leave(self) -> None:
        """Let go of what is loaded."""
        if self.in_class:
            self.runner.stop(self.run_ms(), journal.BY_HOST)
        if self._file is not None:
            self._file.close()
        self._file = None

    def drop(self, digest: str) -> None:
        """A timeline was erased by the host."""
        if digest == self.selected:
            self._leave()
            self.runner = None
            self.selected = ""
            self.first_timeline()
        self.changed()

    def next_timeline(self, from_first: bool) -> bool:
        """Select the plan after this one, or the first; False when none follows."""
        have = self.storage.timelines()
        at = have.index(self.selected) + 1 if self.selected in have else 0
        if from_first:
            at = 0
        while at < len(have):
            if have[at] == self.selected or self.select(have[at]):
                return True
            at += 1  # a damaged one is passed over
        return False

    def new_runner(self) -> None:
        """Have the loaded timeline ready to be played; raises what reading it raises."""
        if self._file is not None:
            self._take_runner(*self._runner_of(self._file))

    def _runner_of(self, file: "BinaryIO") -> "tuple[Runner, bytes]":
        gc.collect()
        reader = Reader(file)
        return Runner(reader, self._new_clock(), self), reader.text(0)

    def _take_runner(self, runner: Runner, title: bytes) -> None:
        self.runner = runner
        self.clock = runner.clock
        self._begun = False
        silent = bool(runner.head.flags & 1)
        self.sound.silent = self.facts.silent = silent
        self.facts.title = title
        self.facts.totals = []
        self.changed()

    # The run

    def arm(self, start_ms: int) -> None:
        """Set the class start, in run time; raises OSError, with no start set, without a log."""
        self.runner.arm(start_ms)
        try:
            self._begin()
            if not self.log.write():  # from now on a power failure loses no class
                no_room = self.log.fault == faults.STORAGE_FULL
                raise OSError(ENOSPC if no_room else errno.EIO)
            self.storage.save(start_ms=self.clock.utc_ms(start_ms), start_run=self.log.name)
        except Exception as error:
            self.disarm()  # a host that is told no must not find the box starting alone
            raise error

    def disarm(self) -> None:
        """Take the start back: the run is over before it began."""
        self.runner.stop(self.run_ms(), journal.BY_HOST)
        self.new_runner()

    def _begin(self) -> None:
        """A run begins: its journal."""
        self._past = None
        self.account.begin(self.selected, self.dated_by())
        self._begun = True

    def step_due_us(self, tick: int) -> int:
        """Return in how many microseconds the runner has something to do."""
        runner = self.runner
        if runner is None:
            return IDLE
        if not self._begun and self.in_class:
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
            if not self._begun and self.in_class:
                self._begin()
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
            self._pressed_in[slot] = runner.state
            runner.press(slot, at_ms)
            return False
        runner.release(slot, at_ms, self._in_stall(tick))
        state = self._pressed_in[slot]
        if state != runner.state:
            return False  # the press began in something else
        if state == OVER and self._over_for_us(tick) >= OVER_LEAST_US:
            self.new_runner()
        return state == READY

    def _over_for_us(self, tick: int) -> int:
        return OVER_SHOWN_US + ticks_diff(tick, self._over_until)

    # The log

    def write_cost_us(self) -> int:
        """Return how far away the next cue must be for a write."""
        return self.log.gap_ms() * 1000

    def write_due_us(self, tick: int) -> int:
        """Return in how many microseconds the log is to be written or, after a run, closed."""
        if self.account.is_over:
            return max(0, self.sound.wait_us(tick))  # when the closing motif has sounded
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
        self.account.finish(_now)
        self.log.close()

    # Joining again

    def _read_past(self) -> "Past | None":
        """Return what the power cut off, None if nothing or if the box can't join it again."""
        for _ in range(2):  # a read may fail once
            try:
                name = self.storage.unfinished()
                self.facts.was_cut = bool(name)
                if not name or self.keeper.rtc is None:
                    return None
                from .past import read_past  # seldom needed

                return read_past(self.storage, name)
            except Exception as error:  # noqa: BLE001 - whatever a log holds, the box must start
                self.trouble.tell("past", error)
        return None

    def join_due_us(self, tick: int) -> int:
        """Return whether (0) a run that the power cut off can be joined now."""
        if self._past is None or not self.part_set_clock or self.clock.model is None:
            return IDLE
        return IDLE if self.in_class else 0

    def join(self, tick: int) -> bool:
        """Go on with the class that the power cut off, in step with the other boxes.

        Return whether it is on. What fails is tried again; each try is counted.
        """
        past, settings = self._past, self.storage.settings
        joins = settings["joins"] + 1 if settings["joined"] == past.name else 1
        if joins > JOINS_MOST:
            self._past = None
            return False
        self.storage.save(joined=past.name, joins=joins)
        try:
            self._begun = past.go_on(self)
        except Exception as error:
            self.log.close()  # a run begun by hand gets a log of its own
            self.new_runner()
            raise error
        self._past = None
        return self._begun

    def dropped_run(self, name: str) -> None:
        """A log was erased by the host: it can't be gone on with."""
        if self._past is not None and self._past.name == name:
            self._past = None

    def let_go(self) -> None:
        """Forget presses under way: they are meant for something else."""
        if not self.in_class:
            self.new_runner()

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

    def over(self, cause: int, class_ms: int) -> None:
        """The run ended; its journal is closed when the closing motif has sounded."""
        self._over_until = ticks_add(time.ticks_us(), OVER_SHOWN_US)
        try:
            self.account.over(cause, class_ms)
        except Exception as error:  # noqa: BLE001 - see above
            self.trouble.tell("log", error)


def _nothing(*_) -> None:
    """Nobody draws yet."""


def _now(write) -> None:
    write()
