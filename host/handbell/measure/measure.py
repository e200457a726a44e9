"""Measures a box on the bench: small scripts in its memory, then its link and crystal.

The box is asked for its prompt, measured, and restarted whatever happens, so that it is as before;
but a restart loses its clock. On its flash only ``bench.tmp`` is written, and removed: by the
script that made it, else by the next bench.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from handbell.base.drift import clock_moved
from handbell.base.errors import BoxError
from handbell.base.progress import Progress, no_progress
from handbell.boxes.clocks.clock import measure
from handbell.boxes.firmware import prepare
from handbell.boxes.firmware.answers import UNSOUND, value_of
from handbell.boxes.firmware.files import PROMPT_CODE
from handbell.boxes.firmware.prompt import NoPromptError
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.fields import shown
from handbell.boxes.link.hostclock import HostClock, SystemClock
from handbell.boxes.link.messages import Hello
from handbell.boxes.link.replies import HELLO, STATUS, TIMES
from handbell_core import faults

from .items import Item, Script
from .prompt import BenchPrompt, SerialBenchPrompt
from .table import BY_LINK, CRYSTAL, READY, ROUND, ROUND_MIDDLE, SCRIPTS, all_items

ROUNDS = 100
STOPPED = "measuring was stopped before"
GONE = "the board stopped answering before"
FIGURE_MOST = 1e15  # what is more is no figure; nor is what is no number
NO_BATTERY_MV = 1_000  # the gauge is at the cell, behind the switch; a cable does not reach it
START = Script("board", ("common", "start"), ())


@dataclass
class Reading:
    """What came of an item: a value in its unit, or ``why`` there is none.

    ``left_out`` says that it was not to be had, which is no fault. ``bound`` is how far the value
    may be off, where that is known.
    """

    item: Item
    value: float | None = None
    why: str = STOPPED
    left_out: bool = False
    bound: float = 0.0

    @property
    def differs(self) -> bool:
        """Whether the value is beyond what is expected, its bound allowed for."""
        if self.value is None:
            return False
        low, high = self.item.low, self.item.high
        over = high is not None and self.value - self.bound > high
        return over or (low is not None and self.value + self.bound < low)

    @property
    def failed(self) -> bool:
        """Whether it should have been measured and was not."""
        return self.value is None and not self.left_out

    @property
    def verdict(self) -> str:
        """What to think of it, in words."""
        if self.value is None:
            return f"{'left out' if self.left_out else 'not measured'}: {self.why}"
        if self.differs:
            return "differs"
        judged = self.item.low is not None or self.item.high is not None
        return "as expected" if judged else "noted"


@dataclass
class Bench:
    """A bench of the box at a port; ``run`` it, then read ``readings`` and ``remarks``.

    ``minutes`` part the two looks at its crystal. What is not measured yet says so, at any moment.
    """

    url: str
    minutes: float = 5
    clock: HostClock = field(default_factory=SystemClock)
    progress: Progress = no_progress
    open_prompt: Callable[[str], BenchPrompt] = SerialBenchPrompt
    who: Hello | None = None
    board: dict[str, Any] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)
    begun_utc_us: int = 0

    def __post_init__(self) -> None:
        self.readings = {item.key: Reading(item) for item in all_items()}

    @property
    def good(self) -> bool:
        """Whether all that could be measured was, and is as expected."""
        return not any(r.differs or r.failed for r in self.readings.values())

    def run(self) -> None:
        """Measure all of it.

        Raises BoxError when the box is in a class, virtual or no box at all, before anything was
        done to it; what goes wrong later is told in the readings.
        """
        self.begun_utc_us = self.clock.utc_us()
        self._meet()
        if self._on_board():
            self._by_link()

    def _meet(self) -> None:
        """Hear from the box itself what waits on it; refuse one that must be left alone."""
        with Connection(self.url, self.clock) as connection:
            try:
                who = connection.ask(HELLO, tries=3)
                status = connection.ask(STATUS)
            except BoxError:
                self.remarks.append(
                    "No Handbell firmware answered: only MicroPython is measured. Run handbell "
                    "prepare, then measure again."
                )
                return
        if who.board == prepare.VIRTUAL:
            raise BoxError(self.url, "this box is virtual", "Only real boards are measured")
        self.who = who
        if status.runs > 0:
            self.remarks.append(
                f"Logs waiting on the box: {status.runs}. They were not touched; bring them in "
                "with handbell collect."
            )
        if status.bound_us is not None:
            self.remarks.append(
                "The restart lost the box's clock: run handbell send before a class."
            )

    # With the prompt

    def _on_board(self) -> bool:
        """Run every script and restart the box; returns whether it was there to the end."""
        try:
            prepare.ask_to_yield(self.url, self.clock)
            prompt = self.open_prompt(self.url)
        except NoPromptError as error:
            raise BoxError(
                self.url,
                "neither a box nor MicroPython answers on this port",
                "Unplug it, plug it in and try again; a new board wants handbell prepare first",
            ) from error
        except BoxError as error:
            if error.code != faults.BUSY:
                raise
            raise BoxError(
                self.url,
                "this box is in a class, which nothing may stop",
                "Run handbell measure when the class is over",
                error.code,
            ) from error
        try:
            prepare.check(self.url, prompt)
            there = self._scripts(prompt)
        except BaseException:
            with contextlib.suppress(BoxError):
                prompt.again()
                prompt.restart()
            raise
        else:
            return there and self._restart(prompt)
        finally:
            prompt.close()

    def _scripts(self, prompt: BenchPrompt) -> bool:
        self.board = self._ask(prompt, START)
        for done, script in enumerate(SCRIPTS):
            self.progress(self.url, "scripts", done, len(SCRIPTS))
            try:
                self._take(script, self._ask(prompt, script))
                continue
            except BoxError as error:
                why = error.what.removeprefix(f"{self.url}: ")
            self._miss(script.items, why)
            try:
                prompt.again()
            except BoxError:
                self._miss(script.items, "the board stopped answering meanwhile")
                self._gone()
                return False
        self.progress(self.url, "scripts", len(SCRIPTS), len(SCRIPTS))
        return True

    def _gone(self) -> None:
        for reading in self.readings.values():
            if reading.value is None and reading.why == STOPPED:
                reading.why = GONE
        self.remarks.append(
            "The board stopped answering. Unplug it and plug it in again: it starts as before. "
            "The next measuring removes what this one may have left."
        )

    def _ask(self, prompt: BenchPrompt, script: Script) -> dict[str, Any]:
        """Run a script and return the answer on the last line that it prints."""
        parts = [(PROMPT_CODE / f"{part}.py").read_text(encoding="utf-8") for part in script.parts]
        said = prompt.feed("\n".join(parts), b"z" * script.feed, script.skim)
        try:
            answer = value_of((said.strip().splitlines() or [""])[-1])
        except UNSOUND:
            answer = None
        if not isinstance(answer, dict) or not all(isinstance(key, str) for key in answer):
            raise BoxError(self.url, "the board's answer could not be read")
        return answer

    def _take(self, script: Script, answer: dict[str, Any]) -> None:
        left_out = answer.get("left_out")
        for item in script.items:
            reading = self.readings[item.key]
            value = answer.get(item.key)
            if isinstance(value, (int, float)) and abs(value) < FIGURE_MOST:
                reading.value = value / item.per
            else:
                reading.why = shown(200)(str(left_out or "this board did not say"))
                reading.left_out = left_out is not None or value is None
        battery_mv = answer.get("battery_mv")
        if isinstance(battery_mv, int) and battery_mv < NO_BATTERY_MV:
            self._left_out("battery_mv", f"no cell, or switched off: {battery_mv} mV")

    def _left_out(self, key: str, why: str) -> None:
        reading = self.readings[key]
        reading.value, reading.why, reading.left_out = None, why, True

    def _miss(self, items: tuple[Item, ...], why: str) -> None:
        for item in items:
            self.readings[item.key].why = why

    # As a box again

    def _restart(self, prompt: BenchPrompt) -> bool:
        try:
            prompt.restart()
        except BoxError:
            self._gone()
            return False
        return True

    def _by_link(self) -> None:
        """Time the box's start and its link, and look at its crystal twice."""
        started_us = self.clock.mono_us()
        try:
            with Connection(self.url, self.clock) as connection:
                tries = prepare.HELLO_TRIES if self.who else 3
                boot = connection.ask(HELLO, tries=tries).boot
                self._put(READY, (self.clock.mono_us() - started_us) / 1e6)
                self._rounds(connection)
                self._crystal(connection)
                if connection.ask(HELLO).boot != boot:
                    self._miss((CRYSTAL,), "the box started anew meanwhile")
                    self.readings[CRYSTAL.key].value = None
        except BoxError as error:
            why = error.what.removeprefix(f"{self.url}: ")
            missing = [i for i in BY_LINK if self.readings[i.key].value is None]
            self._miss(tuple(missing), why)
            if self.who:
                self.remarks.append(
                    "The box was restarted and did not answer to the end. Unplug it and plug it "
                    "in again, then look with handbell boxes."
                )

    def _put(self, item: Item, value: float, bound: float = 0.0) -> None:
        reading = self.readings[item.key]
        reading.value, reading.bound = value / item.per, bound

    def _rounds(self, connection: Connection) -> None:
        took_us = []
        for _ in range(ROUNDS):
            reply, sent_us, came_us = connection.timed_ask(TIMES)
            took_us.append(came_us - sent_us - (reply.left_us - reply.arrived_us))
        took_us.sort()
        self._put(ROUND, took_us[0])
        self._put(ROUND_MIDDLE, took_us[ROUNDS // 2])

    def _crystal(self, connection: Connection) -> None:
        """Compare the box's clock with this computer's, some minutes apart."""
        first = measure(connection)
        end_us = self.clock.mono_us() + round(self.minutes * 60e6)
        total_s = round(self.minutes * 60)
        while (left_us := end_us - self.clock.mono_us()) > 0:
            self.progress(self.url, "crystal, seconds", total_s - left_us // 1_000_000, total_s)
            self.clock.sleep(min(1.0, left_us / 1e6))
        self.progress(self.url, "crystal, seconds", total_s, total_s)
        last = measure(connection)
        here_us, there_us = last.utc_us - first.utc_us, last.box_us - first.box_us
        if clock_moved(first.ahead_us, last.ahead_us, there_us) or here_us <= 0:
            self._miss((CRYSTAL,), "this computer's clock was changed meanwhile")
            return
        bound_us = first.bound_us + last.bound_us
        self._put(CRYSTAL, (there_us - here_us) * 1e6 / here_us, bound_us * 1e6 / here_us)
