"""What is loaded: a timeline, its runner, and the run's time."""

import gc
import time

from handbell_core import faults, journal
from handbell_core.clock import ANCHOR_EVERY_MS, RunTime
from handbell_core.runner import AGAIN, FAULT, HELD, OVER, READY, Runner, fault_of
from handbell_core.timeline import FormatError, Reader

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import BinaryIO

    from handbell_core.clock import ClockModel
    from handbell_core.course import Sink

_NO_CLASS = (READY, HELD, AGAIN, OVER, FAULT)


class Loaded:
    """One timeline after another, each with a runner made of it.

    ``facts`` takes what the screens tell of it. ``draw_anew`` is called when something to be seen
    changed; whoever draws sets it.
    """

    def __init__(self, storage, keeper, sound, facts, trouble) -> None:
        self.storage = storage
        self.keeper = keeper
        self.sound = sound
        self.facts = facts
        self.trouble = trouble
        self.draw_anew = nothing
        self.fault = 0  # why nothing can be played
        self.unloaded = 0  # the fault of the last plan that could not be loaded
        self.selected = ""
        self._file: "BinaryIO" = None
        self.runner: Runner = None
        self.clock = RunTime(0, time.ticks_us())
        self._taken: "ClockModel | None" = None  # the keeper's clock that the run's is made of
        self.begun = False  # the runner's run has its log

    # Time

    def run_ms(self) -> int:
        """Return the runner's time."""
        return self.clock.ms_of(time.ticks_us())

    def _new_clock(self) -> RunTime:
        tick = time.ticks_us()
        return RunTime(self.keeper.extender.extend(tick), tick, self.keeper.shared())

    def anchor_due_us(self, tick: int) -> int:
        """Return in how many microseconds the run's time needs a new anchor."""
        return max(0, ANCHOR_EVERY_MS * 1000 - self.clock.us_since_anchor(tick))

    def anchor(self, tick: int) -> None:
        """Tie the run's time to the box's anew."""
        self.clock.anchor(self.keeper.extender.extend(tick), tick)

    def changed(self) -> None:
        """Something to be seen changed; never raises, since the runner may be halfway."""
        try:
            self.draw_anew()
        except Exception as error:  # noqa: BLE001 - see above
            self.trouble.tell("view", error)

    # What is loaded

    @property
    def in_class(self) -> bool:
        """Whether a run is under way: nothing may disturb it then."""
        runner = self.runner
        return runner is not None and runner.state not in _NO_CLASS

    def find_plan(self, cut: str, others: bool = True) -> None:
        """Select what was cut, else what was selected last, else the newest that is whole.

        Without ``others`` what was chosen has another try to come: a read may fail once. What
        fails is told: while the box has no plan, ``fault`` says whether it may have one.
        """
        self.fault = faults.FLASH_ERROR
        try:
            self._find_plan(cut, others)
        except Exception as error:  # noqa: BLE001 - a box without a plan still answers its host
            self.trouble.tell("plan", error)

    def _find_plan(self, cut: str, others: bool) -> None:
        have = self.storage.timelines()
        if not have:
            self.fault = 0
        last = cut or self.storage.settings["last"]
        chosen = [last] if last in have else []
        for digest in chosen if chosen and not others else chosen + have[::-1]:
            if self._load(digest):
                if chosen and digest != last:
                    self.fault = faults.TIMELINE_BROKEN  # told: it is not the one they chose
                return
            self.fault = faults.TIMELINE_BROKEN

    def turn_to(self, digest: str) -> bool:
        """Make a timeline the one to play; False when it is missing or broken."""
        if not self._load(digest):
            return False
        self._keep_last()
        return True

    def _keep_last(self) -> None:
        try:
            self.storage.save(last=self.selected)
        except OSError:
            pass  # a full flash: after the next start another may be selected

    def _load(self, digest: str) -> bool:
        """Load a timeline; False, with what was loaded still there, when that can't be done."""
        new = self._made_of(digest)
        if new is None:
            return False
        self._take(digest, *new)
        return True

    def _made_of(self, digest: str) -> "tuple[BinaryIO, Runner, bytes] | None":
        """Return a timeline's file, a runner of it and its title; None when that can't be done."""
        new = None
        try:
            new = self.storage.open_timeline(digest)
            runner, title = self._runner_of(new)
        except (OSError, FormatError, MemoryError) as error:
            if new is not None:
                new.close()
                self.trouble.tell("plan", error)
            self.unloaded = fault_of(error)
            return None
        return new, runner, title

    def _take(self, digest: str, file: "BinaryIO", runner: Runner, title: bytes) -> None:
        """Let this be what is loaded."""
        self._leave()
        self._file = file
        self.selected = digest
        self.fault = 0
        self._take_runner(runner, title)

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
            self.find_plan("")
        self.changed()

    def next_timeline(self, from_first: bool) -> bool:
        """Select the plan after this one, or the first; False when none follows."""
        have = self.storage.timelines()
        at = have.index(self.selected) + 1 if self.selected in have else 0
        if from_first:
            at = 0
        while at < len(have):
            if have[at] == self.selected or self.turn_to(have[at]):
                return True
            at += 1  # a damaged one is passed over
        return False

    def new_runner(self) -> None:
        """Have the loaded timeline ready to be played; raises what reading it raises."""
        if self._file is not None:
            self._take_runner(*self._runner_of(self._file))
            if self.fault != faults.TIMELINE_BROKEN:  # that another plan is broken is still so
                self.fault = 0

    def _runner_of(self, file: "BinaryIO", of: type = Runner) -> "tuple[Runner, bytes]":
        gc.collect()
        reader = Reader(file)
        sink: Sink = self  # type: ignore[assignment]  # what plays it is the sink
        return of(reader, self._new_clock(), sink), reader.text(0)

    def _take_runner(self, runner: Runner, title: bytes) -> None:
        self.runner = runner
        self.clock = runner.clock
        self._taken = self.keeper.model
        self.begun = False
        silent = bool(runner.head.flags & 1)
        self.sound.silent = self.facts.silent = silent
        self.facts.title = title
        self.facts.totals = []
        self.changed()

    def let_go(self) -> None:
        """Forget presses under way: they are meant for something else."""
        if not self.in_class:
            self.new_runner()


def nothing(*_) -> None:
    """Nobody draws yet."""
