"""The box: one loop around the core. Reads what came in, steps the runner, performs its effects.

Nothing here waits except ``board.idle``. Deadlines are raw ticks; large integers are touched once
an event, never once a pass.
"""

import binascii
import gc
import struct
import time

from handbell_core import faults, journal
from handbell_core.clock import ANCHOR_EVERY_MS, ClockModel, RunTime
from handbell_core.cues import CALL, NO_CUE
from handbell_core.runner import LEAVING, NEVER, OVER, READY, SET, Runner
from handbell_core.taps import PRESS
from handbell_core.ticks import Extender, ticks_add, ticks_diff
from handbell_core.timeline import SLOTS, WINDOW, FormatError, Reader

from .buttons import Buttons
from .display import Display
from .lights import BY_KIND, MADE, RESTING, TO_START, TROUBLE, Lights
from .lights import OVER as LIGHTS_OVER
from .link import Link
from .log import Log
from .power import Power
from .requests import FIRMWARE, Requests, in_class
from .screens import Facts, Screens
from .sound import Sound
from .storage import TIMELINES, Storage

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import BinaryIO

LATE_US = 5_000
SLOW_US = 3_000  # a slow piece of work may take this long
TOO_LATE_US = 500_000  # a bell later than this would only mislead
SLOW_EVERY_US = 10_000_000
ERRORS_AT_REST = 20
DRAW_US = 35_000  # a drawing may take this long on the chip
QUIET = ("time", "status")  # requests that change nothing to be seen
CLASS_NEAR_MS = 60_000
REST_MOST_MS = 86_400_000  # run time is begun anew after a day at rest
ARM_US = 40_000  # a bell is armed this long ahead
ARM_LEAST_US = 1_000
IDENTIFY_US = 4_000_000
HEALTH_US = 20_000_000
OVER_SHOWN_US = 60_000_000
LONGEST_IDLE_US = 1_000_000


class App:
    """A box on a board."""

    def __init__(self, board) -> None:
        tick = time.ticks_us()
        self.board = board
        self.extender = Extender(tick)
        self.storage = Storage(board.ROOT)
        self.boot = (self.storage.settings["starts"] + 1) & 0xFFFF
        self.storage.save(starts=self.boot)
        self.log = Log(self.storage)
        self.power = Power(board)
        pins = [board.button(slot) for slot in range(len(board.BUTTON_PINS))]
        self.buttons = Buttons(pins, board.captures(pins))
        self.sound = Sound(board.sounders(), board.SOUND_DUTY, board.timer())
        self.display = Display(board.bus())
        self.screens = Screens(self.display)
        self.lights = Lights(board.strip(), board.LAMP_CAP)
        self.link = Link()
        self.requests = Requests(self)
        self.facts = Facts()
        self.facts.version = FIRMWARE.encode()
        self.facts.box_id = binascii.hexlify(board.unique_id())
        self.model: ClockModel = None
        self.tz_s = 0
        self.fault = 0
        self.leave = False
        self._dog = None
        self.selected = ""
        self._file: "BinaryIO" = None
        self.runner: Runner = None
        self.clock = RunTime(0, tick)
        self._fresh_run()
        self._slow = tick
        self._until = ticks_add(tick, IDENTIFY_US)  # what the screen says instead, until then
        self._instead = self.screens.identify
        self._on_health = False
        self._drawn = False
        self._draw_due = tick
        self._lamps_due = tick
        self._settled = True
        self.errors = 0
        self.named()
        self._first_timeline()

    # Time

    def box_us(self) -> int:
        """Return microseconds since this boot."""
        return self.extender.extend(time.ticks_us())

    def run_ms(self) -> int:
        """Return the runner's time."""
        return self.clock.ms_of(time.ticks_us())

    def set_clock(self, model, tz_s: int) -> None:
        """Take a clock model from the host.

        A start that the host has set is kept in UTC; a run under way goes on by its old clock.
        """
        self.model = model
        self.tz_s = tz_s
        runner = self.runner
        if runner is None:
            return
        if runner.state == READY:
            self._new_runner()
        elif runner.state == SET and not runner.by_hand:
            utc_ms = self.clock.utc_ms(runner.starts_ms)
            runner.clock = self._new_clock()
            runner.arm(self.clock.run_ms_of_utc(utc_ms))

    def _new_clock(self) -> RunTime:
        tick = time.ticks_us()
        self.clock = RunTime(self.extender.extend(tick), tick, self.model)
        return self.clock

    def _anchor(self, tick: int) -> None:
        if self.clock.us_since_anchor(tick) >= ANCHOR_EVERY_MS * 1000:
            self.clock.anchor(self.extender.extend(tick), tick)

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
        last = self.storage.settings["last"]
        for digest in ([last] if last in have else []) + have[::-1]:
            if self.select(digest):
                return

    def select(self, digest: str) -> bool:
        """Make a timeline the one to play; False when it is missing or broken."""
        try:
            new = self.storage.open_timeline(digest)
        except (OSError, FormatError):
            self.fault = faults.TIMELINE_BROKEN
            return False
        if self.in_class:
            self.runner.stop(self.run_ms(), journal.BY_HOST)
        if self._file is not None:
            self._file.close()
        self._file = new
        self.selected = digest
        self.fault = 0
        if self.storage.settings["last"] != digest:
            self.storage.save(last=digest)
        self._new_runner()
        return True

    def _new_runner(self) -> None:
        gc.collect()
        reader = Reader(self._file)
        self.runner = Runner(reader, self._new_clock(), self)
        self.sound.silent = bool(reader.head.flags & 1)
        self.facts.title = reader.text(0)
        self.facts.silent = self.sound.silent
        self.facts.totals = []
        self.changed()

    def _next_page(self) -> None:
        """A tap at rest: the next plan that is here, then the health page, then the first plan."""
        have = self.storage.timelines()
        at = have.index(self.selected) + 1 if self.selected in have else 0
        if self._on_health:
            at = 0
        elif at >= len(have):
            self._show_instead(self.screens.health, HEALTH_US)
            self._on_health = True
            return
        self._on_health = False
        if at < len(have) and have[at] != self.selected:
            self.select(have[at])

    def dropped(self, of: str, name: str) -> None:
        """A file was erased by the host."""
        if of == TIMELINES and name == self.selected:
            self._file.close()
            self._file = None
            self.runner = None
            self.selected = ""
            self._first_timeline()
        self.changed()

    def named(self) -> None:
        """The station or its label changed."""
        settings = self.storage.settings
        self.facts.station = settings["station"]
        self.facts.label = bytes(ord(c) if ord(c) < 256 else 63 for c in settings["label"])
        self.changed()

    # The run

    def arm(self, start_ms: int) -> None:
        """Set the class start, in run time."""
        self.runner.arm(start_ms)
        self._begin_log()

    def disarm(self) -> None:
        """Take the start back: the run is over before it began."""
        self.runner.stop(self.run_ms(), journal.BY_HOST)
        self._new_runner()

    def _guard(self) -> None:
        """From the first class on, a loop that stands still for 8 s is started anew."""
        if self._dog is None:
            self._dog = self.board.watchdog()

    def end(self) -> None:
        """Leave everything quiet and safe for MicroPython's prompt."""
        self.sound.hush()
        self.log.close()
        self.link.close()
        if self._dog is not None:
            self.board.watchdog_off()

    def _fresh_run(self) -> None:
        self._late = 0
        self._worst_late_us = 0
        self._taps = 0
        self._results: dict[tuple[int, int], int] = {}
        self._run_fault = 0

    def _begin_log(self) -> None:
        if self.log.is_open:
            return
        self._fresh_run()
        self._guard()
        self.facts.totals = []
        self.log.open()
        board_id = self.board.unique_id()
        digest = bytes(int(self.selected[i : i + 2], 16) for i in range(0, 24, 2))
        keep = self.log.keep
        keep(journal.run_record(digest, self.storage.settings["station"]))
        box = board_id + struct.pack("<HH", self.power.mv, self.boot)
        keep(journal.record(journal.BOX, 0, 0, 0, box))
        if self.model is not None:
            m = self.model
            keep(journal.record(journal.UTC, 0, 0, 0, struct.pack("<qI", m.utc_us, m.bound_us)))
            keep(journal.record(journal.OWN, 0, 0, 0, struct.pack("<qi", m.box_us, m.rate_ppb)))

    def _note(self, fault: int, value: int) -> None:
        payload = struct.pack("<HHi", fault, 0, value)
        class_ms = self.runner.class_ms(self.run_ms()) if self.runner else 0
        self.log.keep(journal.record(journal.NOTE, 0, 0, class_ms, payload))

    # Effects of the runner

    def bell(self, cue: int, due_ms: int) -> None:
        """Ring a cue; one that is much too late is not rung, and either way it is counted."""
        tick = time.ticks_us()
        if due_ms == NEVER:
            self.sound.play(cue, tick)
            return
        due = self.clock.tick_of(due_ms)
        late_us = ticks_diff(tick, due)
        if late_us <= TOO_LATE_US:
            late_us = ticks_diff(self.sound.play(cue, due), due)
        if late_us > LATE_US:
            self._late += 1
        self._worst_late_us = max(self._worst_late_us, late_us)

    def keep(self, record: bytes) -> None:
        """Queue a journal record, and add up what the end screen says."""
        kind = record[0]
        if kind == journal.TAP:
            self._taps += 1
        elif kind == journal.RESULT:
            _, _, window, _, bib, reps = struct.unpack("<BBHiHH", record[:12])
            self._results[bib, window] = reps
            if len(self._results) > 2 * SLOTS:
                self._add_up(window)
        self.log.keep(record)

    def _add_up(self, window: int) -> None:
        """Move results that no correction can reach any more into the totals."""
        totals = dict(self.facts.totals)
        for key in list(self._results):
            if key[1] != window:
                totals[key[0]] = totals.get(key[0], 0) + self._results.pop(key)
        self.facts.totals = sorted(totals.items())

    def changed(self) -> None:
        """The screen and the lights must be drawn anew."""
        self._settled = False

    def over(self, cause: int, class_ms: int) -> None:
        """The run ended: close its journal with what was late and what was lost."""
        self._add_up(-1)
        self.log.make_room()
        if self.log.lost:
            self._note(faults.STORAGE_FULL, self.log.lost)
        if self.buttons.lost:
            self._note(faults.EDGES_LOST, self.buttons.lost)
            self.buttons.lost = 0
        if self.errors:
            self._note(faults.FIRMWARE, self.errors)
        worst = min(self._worst_late_us, 0xFFFFFFFF)
        payload = struct.pack("<BBHII", cause, 0, min(self._late, 0xFFFF), worst, self._taps)
        self.log.keep(journal.record(journal.END, 0, 0, class_ms, payload))
        self.log.close()
        self._until = ticks_add(time.ticks_us(), OVER_SHOWN_US)

    # The loop

    def run(self) -> None:
        """Run until the host asks for the prompt; an error of our own never ends a class."""
        while not self.leave:
            try:
                self.board.idle(self.slice())
            except Exception as error:  # noqa: BLE001 - the class goes on whatever happens
                self.errors += 1
                self.fault = faults.FIRMWARE
                if not self.in_class and self.errors > ERRORS_AT_REST:
                    raise error
                self.board.idle(ticks_add(time.ticks_us(), 1_000))

    def slice(self) -> int:
        """Do one pass and return the tick of the next deadline."""
        tick = time.ticks_us()
        if self._dog is not None:
            self._dog.feed()
        self._anchor(tick)
        self.buttons.take(tick, self)
        self._step(time.ticks_us())
        self.sound.poll(time.ticks_us())
        self._arm_bell(time.ticks_us())
        self._serve()
        self._show(time.ticks_us())
        self._write(time.ticks_us())
        self._slowly(time.ticks_us())
        return self._next_tick()

    def button(self, slot: int, event: int, tick: int) -> None:
        """A debounced press or release; told to the runner in its own time."""
        if event == PRESS:
            self._on_health = self._on_health and self._instead is not None
            self._end_instead()
        runner = self.runner
        if runner is None:
            if event != PRESS:
                self._next_page()
            return
        at_ms = self.clock.ms_of(tick)
        if event == PRESS:
            runner.press(slot, at_ms)
            return
        state = runner.state
        runner.release(slot, at_ms, not self.buttons.sees_all and self.log.in_stall(tick))
        if state == OVER:
            self._new_runner()
        elif state == READY and runner.state == READY:
            self._next_page()

    def _step(self, tick: int) -> None:
        runner = self.runner
        if runner is None:
            return
        run_ms = self.clock.ms_of(tick)
        if run_ms >= runner.due_ms:
            runner.step(run_ms)
        if runner.state == SET and not self.log.is_open:
            self._begin_log()

    def _arm_bell(self, tick: int) -> None:
        sound, runner = self.sound, self.runner
        if runner is None:
            return
        bell_us = self._cue_in_us(tick)
        if sound.armed:
            if bell_us > ARM_US:  # it was put off or taken away meanwhile
                sound.disarm()
        elif ARM_LEAST_US < bell_us <= ARM_US:
            cue = runner.bell_cue()
            if cue != NO_CUE:
                sound.arm(cue, self.clock.tick_of(runner.cue_ms()), time.ticks_us())

    def _serve(self) -> None:
        self.link.poll()
        if self.link.broke:
            self.link.broke = False
            if not self.in_class:
                raise KeyboardInterrupt
        request = self.link.request()
        if request is not None and "do" in request:
            self.link.send(self.requests.answer(request))
            if request["do"] not in QUIET:
                self.changed()

    def _write(self, tick: int) -> None:
        due_us = self.log.due_us(tick)
        runner = self.runner
        if due_us != 0 or not self.log.is_open or runner is None:
            return
        if runner.cue_ms() - self.clock.ms_of(tick) >= self.log.gap_ms():
            if self.sound.wait_us(tick) < 0:
                self.buttons.before_blind(tick, self)
                self.log.write()
                self.buttons.blind(self.log.stall_start, self.log.stall_end, self)

    def _slowly(self, tick: int) -> None:
        if ticks_diff(tick, self._slow) < SLOW_EVERY_US:
            return
        self._slow = tick
        self.power.read()
        self.extender.extend(tick)
        if not self.in_class:
            self.buttons.forget()
            if self.clock.ms_of(tick) > REST_MOST_MS and self.runner is not None:
                self._new_runner()
        if self._cue_in_us(tick) > 100_000:
            gc.collect()
        self.changed()

    def _cue_in_us(self, tick: int) -> int:
        if self.runner is None:
            return LONGEST_IDLE_US
        return self.clock.wait_us(self.runner.cue_ms(), tick, LONGEST_IDLE_US)

    # What is seen

    def identify(self) -> None:
        """Show and ring the station for a few seconds (only ring in a class)."""
        tick = time.ticks_us()
        self.sound.play(CALL, tick)
        if not self.in_class:
            self._show_instead(self.screens.identify, IDENTIFY_US)

    def _show_instead(self, screen, for_us: int) -> None:
        self._instead = screen
        self._until = ticks_add(time.ticks_us(), for_us)
        self.changed()

    def _end_instead(self) -> None:
        self._instead = None
        self.changed()

    def _show(self, tick: int) -> None:
        if self._instead is not None and ticks_diff(tick, self._until) >= 0:
            self._end_instead()
        runner = self.runner
        if runner is not None and runner.state == OVER and ticks_diff(tick, self._until) >= 0:
            self._new_runner()
        if self._cue_in_us(tick) < SLOW_US:
            return  # nothing slow when a cue is due
        # The strip is quick and comes first; then the drawing; then it is sent a piece a pass.
        if not self._settled or ticks_diff(tick, self._lamps_due) >= 0:
            self._light(tick)
        stale = not self._settled or ticks_diff(tick, self._draw_due) >= 0
        if stale and self._cue_in_us(tick) > DRAW_US:
            self._settled = True
            self._draw(tick)
            self._drawn = False
        elif not self._drawn:
            self._drawn = not self.display.update()

    def _draw(self, tick: int) -> None:
        runner = self.runner
        run_ms = self.clock.ms_of(tick)
        self._fill_facts(tick)
        if self._instead is not None:
            self._instead(self.facts)
        elif runner is None:
            (self.screens.trouble if self.fault else self.screens.rest)(self.facts)
        else:
            self.screens.show(runner, run_ms, self.facts)
        left_ms = runner.left_ms(run_ms) if runner is not None else 0
        to_next_ms = left_ms % 1000 + 1 if left_ms else 1000
        self._draw_due = ticks_add(tick, to_next_ms * 1000)

    def _fill_facts(self, tick: int) -> None:
        facts = self.facts
        runner = self.runner
        facts.clock_ok = self.model is not None
        facts.battery_mv = self.power.mv
        facts.battery_low = self.power.low
        facts.linked = self.link.linked(tick)
        facts.fault = self.fault or (faults.STORAGE_FULL if self.log.was_full else 0)
        facts.loaded = runner is not None
        if runner is None or runner.state == READY:
            facts.journals = len(self.storage.runs())
            facts.free_kb = self.storage.free_kb()
            facts.on_usb = self.power.usb
            if self.model is not None:
                now_us = self.extender.extend(time.ticks_us())
                facts.clock_age_s = (now_us - self.model.box_us) // 1_000_000
            return
        span = runner.span
        if runner.state in (SET, LEAVING):
            utc_ms = self.clock.utc_ms(runner.starts_ms)
            facts.starts_at = b"" if utc_ms < 0 else _wall(utc_ms // 1000 + self.tz_s)
        if runner.index >= 0:
            facts.name = runner.text_of(span.name)
            facts.next = runner.text_of(span.next)
            facts.who = runner.text_of(span.who)

    def _light(self, tick: int) -> None:
        runner = self.runner
        run_ms = self.clock.ms_of(tick)
        state = runner.state if runner is not None else 0
        kind = left_ms = duration_ms = 0
        look = BY_KIND
        if runner is None or state == READY:
            look = TROUBLE if self.fault else RESTING
        elif state == OVER:
            look = LIGHTS_OVER
        else:
            left_ms = runner.left_ms(run_ms)
            if state in (SET, LEAVING):
                look, duration_ms = TO_START, 30_000
            else:
                kind, duration_ms = runner.kind, runner.span.duration_ms
                if kind == WINDOW and runner.counting.all_made():
                    look = MADE
        wait_ms = self.lights.show(kind, left_ms, duration_ms, run_ms, look)
        self._lamps_due = ticks_add(tick, min(wait_ms, 1000) * 1000)

    def _next_tick(self) -> int:
        tick = time.ticks_us()
        cue_us = self._cue_in_us(tick)
        drawing = not self._drawn and cue_us >= SLOW_US or not self._settled and cue_us > DRAW_US
        if self.link.more or self.buttons.pending() or drawing:
            return tick
        wait_us = LONGEST_IDLE_US  # what is due but must let a cue pass waits for that cue
        if cue_us > DRAW_US:
            wait_us = min(wait_us, max(0, ticks_diff(self._draw_due, tick)))
        if cue_us >= SLOW_US:
            wait_us = min(wait_us, max(0, ticks_diff(self._lamps_due, tick)))
        for other_us in (self.sound.wait_us(tick), self.buttons.wait_us(tick)):
            if 0 <= other_us < wait_us:
                wait_us = other_us
        log_us = self.log.due_us(tick) if self.log.is_open else -1
        if 0 < log_us < wait_us:  # when due it waits for a gap, which opens at another deadline
            wait_us = log_us
        if self.runner is not None:
            wait_us = max(0, self.clock.wait_us(self.runner.due_ms, tick, wait_us))
            if not self.sound.armed:
                to_arm_us = cue_us - ARM_US
                if 0 < to_arm_us < wait_us:
                    wait_us = to_arm_us
        return ticks_add(tick, wait_us)


def _wall(utc_s: int) -> bytes:
    day_s = utc_s % 86_400
    return b"%02d:%02d:%02d" % (day_s // 3600, day_s // 60 % 60, day_s % 60)
