"""What a journal says of a run that the power cut off, so that the box can go on with it."""

import struct

from handbell_core import journal as j
from handbell_core.runner import AT_GATE

CHUNK = 20  # records read at a time
_PRESSES = (j.TAP, j.BACK, j.FORTH, j.CONFIRM)


class Past:
    """An unfinished run.

    ``zero_utc_ms`` is UTC at ``class_ms`` 0 (-1: not known), ``from_ms`` the last ``class_ms``
    told, ``gate_ms`` where it waited (-1: it didn't). ``presses`` are those of the last window.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self.timeline = ""
        self.zero_utc_ms = self.gate_ms = -1
        self.from_ms = 0
        self.waits = False
        self.skipped = 0
        self.taps = 0
        self.presses: list = []
        self.results: dict = {}

    def take(self, kind: int, slot: int, window: int, class_ms: int, payload: bytes) -> None:
        """Take the next record."""
        self.from_ms = max(self.from_ms, class_ms)
        if kind == j.RUN:
            self.timeline = "".join(["%02x" % b for b in payload])
        elif kind == j.STATE:
            state, cause, _, utc_ms = struct.unpack("<BBHq", payload)
            self.gate_ms = class_ms if state == AT_GATE else -1
            self.waits = cause == j.BY_WAIT and state != AT_GATE
            self.skipped = window if cause == j.BY_SKIP else 0
            if utc_ms >= 0:
                self.zero_utc_ms = utc_ms - class_ms
        elif kind == j.RESULT:
            bib, reps = struct.unpack("<HH", payload[:4])
            self.results[bib, window] = reps
        elif kind in _PRESSES:
            if kind == j.TAP:
                self.taps += 1
                if payload[6] & j.TAP_OUTSIDE:
                    return
            if self.presses and self.presses[-1][2] != window:
                self.presses = []
            self.presses.append((kind, slot, window, class_ms))

    def go_on(self, app) -> None:
        """Let the box go on with this run where the class is by now; nothing if it is over."""
        zero_utc_ms = self.zero_utc_ms
        if zero_utc_ms < 0:
            settings = app.storage.settings
            zero_utc_ms = settings["start_ms"] if settings["start_run"] == self.name else 0
        if not zero_utc_ms or app.selected != self.timeline:
            return
        zero_ms, run_ms = app.clock.run_ms_of_utc(zero_utc_ms), app.run_ms()
        runner = app.runner
        if run_ms - zero_ms >= runner.head.slot_ms and self.gate_ms < 0:
            return
        try:
            app.account.go_on(self)
        except OSError:
            return
        app.guard()
        if self.gate_ms >= 0:
            runner.wait_again(self.gate_ms, run_ms)
        elif run_ms < zero_ms:
            runner.arm(zero_ms)
        else:
            runner.rejoin(zero_ms, run_ms, self.from_ms)
            for press in self.presses:
                runner.counting.replay(*press)
            if self.skipped and self.skipped == runner.counting.window:
                runner.counting.skip()
            runner.waiting = self.waits
        app.view.end_instead()


def read_past(storage, name: str) -> Past:
    """Return what the journal ``name`` says."""
    past = Past(name)
    with storage.open_run(name) as file:
        data = file.read(CHUNK * j.RECORD_SIZE)
        while data:
            for at in range(0, len(data) - j.RECORD_SIZE + 1, j.RECORD_SIZE):
                record = j.parse_record(data[at : at + j.RECORD_SIZE])
                if record is not None:
                    past.take(*record)
            data = file.read(CHUNK * j.RECORD_SIZE)
    return past
