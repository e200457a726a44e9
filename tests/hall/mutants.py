"""The small changes that ``mutations.py`` tries: a file of the firmware, old text, new text."""

from __future__ import annotations

from typing import NamedTuple


class Mutant(NamedTuple):
    """One change."""

    name: str
    file: str
    old: str
    new: str


RUNNER, TAPS, COUNTING = (f"handbell_core/{name}.py" for name in ("runner", "taps", "counting"))
APP, PAST, ACCOUNT, LOG = (f"box/{name}.py" for name in ("app", "past", "account", "log"))

MUTANTS = (
    Mutant("the deadline is not worked out before an action", RUNNER,
           "            self._set(timer, NEVER)\n            try:",
           "            self._timers[timer] = NEVER\n            try:"),
    Mutant("a hand start does not ask for the present state", RUNNER,
           "        if self.state not in (READY, AT_GATE):\n            return",
           "        if self.state == OVER:\n            return"),
    Mutant("the end waits for no press", RUNNER,
           "if self.down[slot] and not self._held[slot]:", "if self.down[slot] < 0:"),
    Mutant("a hold moves a host's start", RUNNER,
           "        if self.by_hand:\n            step", "        if self.state == SET:\n            step"),
    Mutant("class time goes on at a gate", RUNNER,
           "run_ms - (self.gate_class_ms if self.state == LEAVING else 0)", "run_ms"),
    Mutant("results are told before presses have ended", RUNNER,
           "SETTLE_MS = HOLD_MS + 200", "SETTLE_MS = 300"),
    Mutant("a page is open for longer", RUNNER, "MENU_MS = 8_000", "MENU_MS = 9_000"),
    Mutant("a long hold is shorter", RUNNER, "LONG_MS = 5_000", "LONG_MS = 4_700"),
    Mutant("a tap is where it ended", RUNNER,
           "self._down_ms[slot] if tap else run_ms)", "run_ms)"),
    Mutant("a hold that ends soon is a tap", RUNNER,
           "tap = self._held_ms < HOLD_MS", "tap = self._held_ms < HOLD_MS + 200"),
    Mutant("a late take-back tells no result", RUNNER,
           "        self.sink.bell(BACK, NEVER)\n        if self._timers[_SETTLE] == NEVER:",
           "        self.sink.bell(BACK, NEVER)\n        if self._timers[_SETTLE] < 0:"),
    Mutant("a lean's take-back stays", RUNNER,
           "        if self._took_back[slot]:", "        if self._took_back[slot] < 0:"),
    Mutant("taps keep the list open", RUNNER,
           "    def _next_choice(self) -> None:\n",
           "    def _next_choice(self) -> None:\n        self._set(_MENU, self._timers[_MENU] + 900)\n"),
    Mutant("every button is in the choices", RUNNER,
           "if self.menu >= 0 and slot == self.menu_slot:", "if self.menu >= 0:"),
    Mutant("a wait waits after every span", RUNNER,
           "        self.waiting = False\n        if wait:", "        if wait:"),
    Mutant("staying at a gate leaves its end", RUNNER,
           "        self._set(_START, NEVER)\n        self._set(_CUE, NEVER)",
           "        self._set(_CUE, NEVER)"),
    Mutant("a hold at no answer is a 0", RUNNER,
           "max(0, RATINGS.index(self.rating[slot]) - 1)", "RATINGS.index(self.rating[slot]) - 1"),
    Mutant("nobody's button rates", RUNNER,
           "        if not self.span.bib[slot]:\n            return\n        self.rating",
           "        self.rating"),
    Mutant("what is untold at the end stays so", RUNNER,
           "        if self._untold:\n            self._tell_results()\n        if self.state",
           "        if self.state"),
    Mutant("a stopped window has no result", RUNNER,
           "            self.counting.results_stopped()", "            pass"),
    Mutant("a tally ends with its rest", RUNNER,
           "        elif self.state == TALLY:\n            self._set(_SETTLE, run_ms + SETTLE_MS)",
           "        elif self.state == TALLY:\n            self._set(_SETTLE, run_ms)"),
    Mutant("who joins again rings the span's start", RUNNER,
           "self._next_cue(class_ms - self.span.start_ms + 1)", "self._next_cue(0)"),
    Mutant("a span whose end can't be read never ends", RUNNER,
           "_AGAIN = (_LOOK, _SPAN, _START, _RATE)", "_AGAIN = (_LOOK, _START, _RATE)"),
    Mutant("a start's heads-up comes early", RUNNER,
           "self._set(_CUE, start_ms - NEAR_MS)", "self._set(_CUE, start_ms - NEAR_MS - 1_000)"),
    Mutant("each tap past the goal makes it anew", TAPS,
           "elif self.made and self.made_ms < 0:", "elif self.made:"),
    Mutant("a position's loss can't be taken back", TAPS,
           "        self.taps -= 1\n        self.drop_ms = -1\n", "        self.taps -= 1\n"),
    Mutant("a second tap finishes too", TAPS, "            return self.taps > 0\n",
           "            return self.taps > 1\n"),
    Mutant("a tap leaves a tally confirmed", TAPS,
           "            self.taps += 1\n            self.confirmed = False\n",
           "            self.taps += 1\n"),
    Mutant("a press begun before a window is in it", COUNTING,
           "if self.window and class_ms >= self.start_ms:", "if self.window:"),
    Mutant("own tasks are not asked for", COUNTING,
           "            ask, tap, every, goal, _ = span.task(slot)\n",
           "            ask, tap, every, goal = span.ask, span.tap, span.every, span.goal\n"),
    Mutant("a skip skips the first button", COUNTING,
           "        for count in self.now:\n            count.skipped = True",
           "        self.now[0].skipped = True"),
    Mutant("one part's trouble is all parts'", APP,
           "        for part in self._parts:\n            try:\n                part(time.ticks_us())\n"
           "            except Exception as error:  # noqa: BLE001 - one part's trouble is not the others'\n"
           "                self.failed(error)\n",
           "        try:\n            for part in self._parts:\n                part(time.ticks_us())\n"
           "        except Exception as error:\n            self.failed(error)\n"),
    Mutant("records are written after class only", APP,
           "        if due_us != 0 or not self.log.is_open or runner is None:",
           "        if due_us != 0 or not self.log.is_open or runner is None or self.in_class:"),
    Mutant("a clock set in class ends it", APP,
           "        if runner.state == READY:\n            self._new_runner()\n        elif",
           "        if runner.state != SET:\n            self._new_runner()\n        elif"),
    Mutant("a run is read back in one piece", PAST, "CHUNK = 20 ", "CHUNK = 100_000 "),
    Mutant("taps outside count again after a cut", PAST,
           "                if payload[6] & j.TAP_OUTSIDE:\n                    return\n", ""),
    Mutant("a gate is forgotten in a cut", PAST,
           "self.gate_ms = class_ms if state == AT_GATE else -1", "self.gate_ms = -1"),
    Mutant("a log has no end", ACCOUNT,
           "        self._log.keep(journal.record(journal.END, 0, 0, class_ms, payload))",
           "        self._log.keep(journal.record(journal.NOTE, 0, 0, class_ms, payload))"),
    Mutant("each write takes the tail's place", LOG,
           "                self._tail_used += self._used\n", ""),
    Mutant("the tail is lost when a log is closed", LOG,
           '            self._into_journal(b"")\n            self._file.close()',
           "            self._file.close()"),
)  # fmt: skip
