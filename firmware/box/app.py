"""The box: one loop around the core. Reads what came in, steps the runner, performs its effects.

Nothing here waits except ``board.idle``. Deadlines are raw ticks; large integers are touched once
an event, never once a pass.
"""

import binascii
import errno
import gc
import time

from handbell_core import faults, journal
from handbell_core.clock import ANCHOR_EVERY_MS, RunTime
from handbell_core.cues import CALL, NO_CUE
from handbell_core.runner import AGAIN, FAULT, HELD, HOLD_MS, NEVER, OVER, READY, SET, Runner
from handbell_core.taps import PRESS
from handbell_core.ticks import ticks_add, ticks_diff
from handbell_core.timeline import FormatError, Reader

from .account import Account
from .buttons import Buttons
from .keeper import Keeper, clock_part
from .link import BYTES_A_PASS, Link
from .log import Log
from .power import Power
from .requests import FIRMWARE, QUIET, Requests, in_class
from .sound import Sound
from .storage import ENOSPC, TIMELINES, Storage
from .view import View

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import BinaryIO

    from .selftest import SelfTest

TOO_LATE_US = 500_000  # a bell later than this would only mislead
SLOW_EVERY_US = 10_000_000
OVERDUE_US = 1_000_000  # a runner this far behind is stuck: the watchdog is fed no more
AFTER_ERROR_US = 2_000
ANSWER_US = 15_000  # answering a request may take this long on the chip
COLLECT_US = 40_000  # and collecting garbage this long
COLLECT_EVERY_US = 4_000_000
FEW_BYTES = 12  # taken in near a cue
CLASS_NEAR_MS = 60_000
REST_MOST_MS = 86_400_000  # run time is begun anew after a day at rest
ARM_US = 40_000  # a bell is armed this long ahead
ARM_LEAST_US = 1_000
IDENTIFY_US = 4_000_000
HEALTH_US = 20_000_000
OVER_SHOWN_US = 60_000_000
OVER_LEAST_US = 3_000_000  # late taps of a class take no end screen away
LONGEST_IDLE_US = 1_000_000


class App:
    """A box on a board."""

    def __init__(self, board) -> None:
        tick = time.ticks_us()
        self.board = board
        self.storage = Storage(board.ROOT)
        bus = board.bus()
        self.keeper = Keeper(self.storage, clock_part(bus, board.rtc_pin()))
        self.boot = (self.storage.settings["starts"] + 1) & 0xFFFF
        try:
            self.storage.save(starts=self.boot)
        except OSError:
            pass  # a full flash must not keep the box from starting
        self.log = Log(self.storage)
        self.power = Power(board)
        pins = [board.button(slot) for slot in range(len(board.BUTTON_PINS))]
        self.buttons = Buttons(pins, board.captures(pins))
        self.sound = Sound(board.sounders(), board.SOUND_DUTY, board.timer())
        self.view = View(self, bus)
        self.view.facts.version = FIRMWARE.encode()
        self.view.facts.box_id = binascii.hexlify(board.unique_id())
        self.link = Link()
        self.requests = Requests(self)
        self.fault = 0
        self.leave = False
        self._stumbled = False  # something failed in this pass
        self._dog = None
        self._test: "SelfTest" = None
        self.selected = ""
        self._file: "BinaryIO" = None
        self.runner: Runner = None
        self._begun = False  # the runner's run has its log and the watchdog
        self._pressed_in = [0] * self.buttons.count  # the runner's state when each press began
        self.clock = RunTime(0, tick)
        self._over_until = tick
        self._slow = self._collected = tick
        self._cue_at = ticks_add(tick, LONGEST_IDLE_US)
        self.account = Account(self, self.log)
        self.named()
        self._past = self._read_past()
        try:
            self._first_timeline()
        except Exception as error:  # noqa: BLE001 - a box without a plan still answers its host
            self.failed(error)
        self.view.show_instead(self.view.screens.identify, IDENTIFY_US)
        # Bound once, since a pass must not allocate; each is caught alone.
        self._parts = (
            self._anchor,
            self._keep_time,
            self._end_test_in_time,
            self._take_presses,
            self._step,
            self.sound.poll,
            self._arm_bell,
            self._serve,
            self._show,
            self._write,
            self._slowly,
        )

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
        if runner.state in (READY, HELD, AGAIN):
            self._new_runner()
        elif runner.state == SET and not runner.by_hand:
            utc_ms = self.clock.utc_ms(runner.starts_ms)
            runner.clock = self._new_clock()
            runner.arm(self.clock.run_ms_of_utc(utc_ms))
            self.account.tell_clock()

    def _new_clock(self) -> RunTime:
        tick = time.ticks_us()
        self.clock = RunTime(self.keeper.extender.extend(tick), tick, self.keeper.shared())
        return self.clock

    def _keep_time(self, tick: int) -> None:
        """Let the clock part, where there is one, set the clock or the crystal's rate."""
        keeper = self.keeper
        lost = keeper.model is None
        if not keeper.poll(tick, not self.in_class):
            return
        if lost:
            self.clock_changed()
            self._rejoin()
        elif self.clock.model is not None:
            self.clock.model = keeper.model  # the same instant at another rate: nothing jumps
            self.account.tell_clock()
        self.changed()

    def _anchor(self, tick: int) -> None:
        if self.clock.us_since_anchor(tick) >= ANCHOR_EVERY_MS * 1000:
            self.clock.anchor(self.keeper.extender.extend(tick), tick)

    # What is loaded

    @property
    def in_class(self) -> bool:
        """Whether a run is under way."""
        return in_class(self.runner)

    @property
    def busy(self) -> bool:
        """Whether a host must wait: a class runs, or begins within a minute."""
        if not self.in_class:
            return False
        runner = self.runner
        return runner.state != SET or runner.starts_ms - self.run_ms() < CLASS_NEAR_MS

    def _first_timeline(self) -> None:
        have = self.storage.timelines()
        last = self._past.timeline if self._past else self.storage.settings["last"]
        for digest in ([last] if last in have else []) + have[::-1]:
            if self.select(digest):
                return
            self.fault = faults.TIMELINE_BROKEN

    def select(self, digest: str) -> bool:
        """Make a timeline the one to play; False when it is missing or broken."""
        try:
            new = self.storage.open_timeline(digest)
        except (OSError, FormatError):
            return False
        if self.in_class:
            self.runner.stop(self.run_ms(), journal.BY_HOST)
        if self._file is not None:
            self._file.close()
        self._file = new
        self.selected = digest
        self.fault = 0
        self._new_runner()
        if self.storage.settings["last"] != digest:
            try:
                self.storage.save(last=digest)
            except OSError:
                pass  # a full flash: after the next start another may be selected
        return True

    def _new_runner(self) -> None:
        gc.collect()
        reader = Reader(self._file)
        self.runner = Runner(reader, self._new_clock(), self)
        self._begun = False
        self.sound.silent = bool(reader.head.flags & 1)
        self.view.facts.title = reader.text(0)
        self.view.facts.silent = self.sound.silent
        self.view.facts.totals = []
        self.changed()

    def _next_page(self) -> None:
        """A tap at rest: the next plan that is here, then the health page, then the first plan."""
        have = self.storage.timelines()
        at = have.index(self.selected) + 1 if self.selected in have else 0
        if self.view.on_health:
            at = 0
        self.view.on_health = False
        while at < len(have):
            if have[at] == self.selected or self.select(have[at]):
                return
            at += 1  # a damaged one is passed over
        self.view.show_instead(self.view.screens.health, HEALTH_US)
        self.view.on_health = True

    def dropped(self, of: str, name: str) -> None:
        """A file was erased by the host."""
        if of == TIMELINES and name == self.selected:
            if self.in_class:
                self.runner.stop(self.run_ms(), journal.BY_HOST)
            self._file.close()
            self._file = None
            self.runner = None
            self.selected = ""
            self._first_timeline()
        self.changed()

    def named(self) -> None:
        """The station or its label changed."""
        settings = self.storage.settings
        self.view.facts.station = settings["station"]
        self.view.facts.label = bytes(ord(c) if ord(c) < 256 else 63 for c in settings["label"])
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
        self._new_runner()

    def _begin(self) -> None:
        """A run begins: its journal, and the watchdog for a loop that stands still for 8 s."""
        self.guard()
        self._past = None
        if self._test is not None:
            self._end_test()
        self.account.begin()
        self._begun = True

    def guard(self) -> None:
        """From the first class on the watchdog looks after the loop."""
        if self._dog is None:
            self._dog = self.board.watchdog()

    def end(self) -> None:
        """Leave everything quiet and safe for MicroPython's prompt, and say that the box is off."""
        last = (self.sound.hush, self.account.finish, self.log.close, self.view.stop)
        for leave in last + (self.link.close,):
            try:
                leave()
            except Exception:  # noqa: BLE001 - the others still have to be left
                pass
        if self._dog is not None:
            self.board.watchdog_off()

    def _read_past(self):
        """Return what the power cut off, None if nothing or if the box can't join it again."""
        for _ in range(2):  # a read may fail once
            try:
                name = self.storage.unfinished()
                self.view.facts.was_cut = bool(name)
                if not name or self.keeper.rtc is None:
                    return None
                from .past import read_past  # seldom needed

                return read_past(self.storage, name)
            except Exception as error:  # noqa: BLE001 - whatever a log holds, the box must start
                self.failed(error)
        return None

    def _rejoin(self) -> None:
        """Go on with the class that the power cut off, in step with the other boxes."""
        past, self._past = self._past, None
        if past is None or self.in_class or self.clock.model is None:
            return
        try:
            self._begun = past.go_on(self)
        except Exception as error:
            self.log.close()  # a run begun by hand gets a log of its own
            self._new_runner()
            raise error

    # Effects of the runner

    def bell(self, cue: int, due_ms: int) -> None:
        """Ring a cue; one that is much too late is not rung, and either way it is counted."""
        try:
            self._bell(cue, due_ms)
        except Exception as error:  # noqa: BLE001 - the runner is halfway and must go on
            self.failed(error)

    def _bell(self, cue: int, due_ms: int) -> None:
        tick = time.ticks_us()
        if due_ms == NEVER:
            self.sound.play(cue, tick)
            return
        due = self.clock.tick_of(due_ms)
        late_us = ticks_diff(tick, due)
        if late_us <= TOO_LATE_US:
            late_us = ticks_diff(self.sound.play(cue, due), due)
        self.account.rang(late_us)

    def keep(self, record: bytes) -> None:
        """Queue a journal record."""
        try:
            self.account.keep(record)
        except Exception as error:  # noqa: BLE001 - the runner is halfway and must go on
            self.failed(error)

    def changed(self) -> None:
        """The screen and the lights must be drawn anew."""
        self.view.changed()

    def over(self, cause: int, class_ms: int) -> None:
        """The run ended; its journal is closed when the closing motif has sounded."""
        self._over_until = ticks_add(time.ticks_us(), OVER_SHOWN_US)
        try:
            self.account.over(cause, class_ms)
        except Exception as error:  # noqa: BLE001 - the runner is halfway and must go on
            self.failed(error)

    def blind(self, write) -> None:
        """Write to the flash, which stops the chip, and make up for what was not seen."""
        self.buttons.before_blind(time.ticks_us(), self)
        try:
            write()
        finally:
            self.buttons.blind(self.log.stall_start, self.log.stall_end, self)

    # The loop

    def run(self) -> None:
        """Run until the host asks for the prompt; no error of our own ends it."""
        while not self.leave:
            self.board.idle(self.slice())

    def failed(self, error: Exception) -> None:
        """Something failed: it is counted and told, and everything else goes on."""
        self.account.errors += 1
        self.fault = faults.FIRMWARE
        self._stumbled = True

    def slice(self) -> int:
        """Do one pass and return the tick of the next deadline."""
        self._stumbled = False
        for part in self._parts:
            try:
                part(time.ticks_us())
            except Exception as error:  # noqa: BLE001 - one part's trouble is not the others'
                self.failed(error)
        tick = time.ticks_us()
        if not self._stumbled:
            return self._next_tick(tick)
        return ticks_add(tick, AFTER_ERROR_US)  # what failed is tried again, not at once

    def _take_presses(self, tick: int) -> None:
        self.buttons.take(tick, self)

    def _show(self, tick: int) -> None:
        self.view.show(tick, self.runner)

    def _end_test_in_time(self, tick: int) -> None:
        if self._test is not None and self._test.is_over(tick):
            self._end_test()

    def button(self, slot: int, event: int, tick: int) -> None:
        """A debounced press or release; told to the runner in its own time."""
        try:
            self._button(slot, event, tick)
        except Exception as error:  # noqa: BLE001 - presses behind this one still count
            self.failed(error)

    def _button(self, slot: int, event: int, tick: int) -> None:
        if self._test is not None:
            if event == PRESS:
                self._test.pressed(slot)
            return
        if event == PRESS:
            self.view.pressed()
        runner = self.runner
        if runner is None:
            if event != PRESS:
                self._next_page()
            return
        at_ms = self.clock.ms_of(tick)
        self._open_due(tick)  # the runner steps up to the press first
        if event == PRESS:
            self._pressed_in[slot] = runner.state
            runner.press(slot, at_ms)
            return
        runner.release(slot, at_ms, not self.buttons.sees_all and self.log.in_stall(tick))
        state = self._pressed_in[slot]
        if state != runner.state:
            return  # the press began in something else
        if state == READY:
            self._next_page()
        elif state == FAULT and runner.held_ms >= HOLD_MS:  # who taps hasn't seen it yet
            self._new_runner()
        elif state == OVER and self._over_for_us(tick) >= OVER_LEAST_US:
            self._new_runner()

    def _over_for_us(self, tick: int) -> int:
        return OVER_SHOWN_US + ticks_diff(tick, self._over_until)

    def _step(self, tick: int) -> None:
        self._look_out(tick)
        if self._dog is not None and self.cue_in_us(tick) > -OVERDUE_US:
            self._dog.feed()
        runner = self.runner
        if runner is None:
            return
        self._open_due(tick)
        run_ms = self.clock.ms_of(tick)
        if run_ms >= runner.due_ms:
            runner.step(run_ms)
            self._look_out(tick)
        if not self._begun and self.in_class:
            self._begin()
        elif runner.state == OVER and ticks_diff(tick, self._over_until) >= 0:
            self._new_runner()

    def _open_due(self, tick: int) -> None:
        if self.cue_in_us(tick) <= 0:
            try:
                self.view.open(self.runner.cue_ms())
            except Exception as error:  # noqa: BLE001 - the runner steps all the same
                self.failed(error)

    def _look_out(self, tick: int) -> None:
        """Work out when the next cue is."""
        wait_us = LONGEST_IDLE_US
        if self.runner is not None:
            wait_us = self.clock.wait_us(self.runner.cue_ms(), tick, LONGEST_IDLE_US)
        self._cue_at = ticks_add(tick, wait_us)

    def cue_in_us(self, tick: int) -> int:
        """Return the microseconds to the next cue, a second at most."""
        return ticks_diff(self._cue_at, tick)

    def free_us(self, tick: int) -> int:
        """Return how long nobody hears it if the loop does something slow."""
        free_us = ticks_diff(self._cue_at, tick)
        step_us = self.sound.wait_us(tick)
        return step_us if 0 <= step_us < free_us else free_us

    def _arm_bell(self, tick: int) -> None:
        sound, runner = self.sound, self.runner
        if runner is None:
            return
        bell_us = self.cue_in_us(tick)
        if sound.armed:
            if bell_us > ARM_US:  # it was put off or taken away meanwhile
                sound.disarm()
        elif ARM_LEAST_US < bell_us <= ARM_US:
            cue = runner.bell_cue()
            if cue != NO_CUE:
                sound.arm(cue, self.clock.tick_of(runner.cue_ms()))

    def _serve(self, tick: int) -> None:
        free_us = self.free_us(tick)
        at_rest = not self.in_class
        self.link.poll(BYTES_A_PASS if free_us > ANSWER_US else FEW_BYTES, at_rest)
        if self.link.broke:
            self.link.broke = False
            if at_rest:
                raise KeyboardInterrupt
        if free_us <= ANSWER_US or not self.link.waits():
            return
        request = self.link.request()
        if "do" in request:
            self.link.send(self.requests.answer(request))
            self._look_out(time.ticks_us())
            if request["do"] not in QUIET:
                self.changed()

    def _write(self, tick: int) -> None:
        if self.account.is_over:
            if self.sound.wait_us(tick) < 0:
                self.account.finish()
            return
        due_us = self.log.due_us(tick)
        runner = self.runner
        if due_us != 0 or not self.log.is_open or runner is None:
            return
        if runner.cue_ms() - self.clock.ms_of(tick) >= self.log.gap_ms():
            if self.sound.wait_us(tick) < 0:
                self.blind(self.log.write)

    def _slowly(self, tick: int) -> None:
        """Do what is not urgent, in a quiet moment."""
        if self.free_us(tick) < COLLECT_US or self.buttons.pending():
            return
        if ticks_diff(tick, self._collected) >= COLLECT_EVERY_US:
            self._collected = tick
            gc.collect()
        elif ticks_diff(tick, self._slow) >= SLOW_EVERY_US:
            self._slow = tick
            self.power.read()
            self.storage.free_kb()
            self.keeper.extender.extend(tick)
            if not self.in_class:
                self.buttons.forget()
                if self.clock.ms_of(tick) > REST_MOST_MS and self.runner is not None:
                    self._new_runner()
            self.changed()

    def identify(self) -> None:
        """Show and ring the station for a few seconds (only ring in a class)."""
        self.sound.play(CALL, time.ticks_us())
        if not self.in_class:
            self.view.show_instead(self.view.screens.identify, IDENTIFY_US)

    def self_test(self, message: dict) -> dict:
        """Work a part by itself, as a host asks."""
        if self._test is None:
            from .selftest import SelfTest  # its code is seldom needed

            self._test = SelfTest(self)
            self.view.lamps_held = True
        return self._test.do(message)

    def _end_test(self) -> None:
        self._test = None
        self.view.lamps_held = False
        self.view.end_instead()

    def _next_tick(self, tick: int) -> int:
        free_us = self.free_us(tick)
        if self.link.more or self.buttons.pending():
            return tick
        if free_us > ANSWER_US and self.link.waits():
            return tick
        wait_us = self.view.wait_us(tick, LONGEST_IDLE_US)
        sound_us, button_us = self.sound.wait_us(tick), self.buttons.wait_us(tick)
        if 0 <= sound_us < wait_us:
            wait_us = sound_us
        if 0 <= button_us < wait_us:
            wait_us = button_us
        part_us = self.keeper.wait_us(tick)
        if 0 <= part_us < wait_us:
            wait_us = part_us
        log_us = self.log.due_us(tick) if self.log.is_open else -1
        if 0 < log_us < wait_us:  # when due it waits for a gap, which opens at another deadline
            wait_us = log_us
        if self.runner is not None:
            wait_us = max(0, self.clock.wait_us(self.runner.due_ms, tick, wait_us))
            if not self.sound.armed:
                to_arm_us = self.cue_in_us(tick) - ARM_US
                if 0 < to_arm_us < wait_us:
                    wait_us = to_arm_us
        return ticks_add(tick, wait_us)
