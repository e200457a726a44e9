"""What a journal says of a run that the power cut off, so that the box can go on with it."""

import struct

from handbell_core import journal as j
from handbell_core.agreement import STANDS, Act
from handbell_core.runner import AT_GATE
from handbell_core.states import OVER as STATE_OVER
from handbell_core.timeline import Reader, VersionError
from handbell_core.versions import reads

from .reading import each_record

GATE_MOST_MS = 3_600_000
JOINS_MOST = 8  # a run that was cut so often, each time this soon after it was joined,
JOIN_LASTS_MS = 60_000  # would be cut again


class Past:
    """An unfinished run, in the same memory however long it was.

    ``zero_utc_ms`` is UTC at ``class_ms`` 0 (-1: not known), ``from_ms`` the last ``class_ms``
    told, ``gate_ms`` where it stood (-1: it didn't). ``joins`` is how often it was joined, each
    time soon after the one before, ``joined_ms`` (UTC) when last. A remote leads it if it has a
    ``key``; ``number`` is of the last act then, and it is
    ``alone`` if it went on without. ``said`` (number, what, class_ms, UTC of its
    instant) is an act that this remote said and that had not come. Its counts are read once it
    goes on.
    """

    def __init__(self, storage, name: str) -> None:
        self._storage = storage
        self.name = name
        self.timeline = ""
        self.zero_utc_ms = self.gate_ms = -1
        self.from_ms = 0
        self.wait_ms = -1  # when somebody chose to wait after what was played then, -1: nobody
        self.joins = self.joined_ms = 0
        self.told = 0  # the last window whose results were told
        self.taps = 0
        self.key = b""
        self.number = self._act = 0
        self.said: "tuple[int, int, int, int] | None" = None
        self._over = False  # an act had ended it
        self.alone = False  # it had gone on without its remote
        self.cuts = 0  # how often the power failed in it

    def look(self, buf: bytes, at: int) -> None:
        """Look at the next record, the 24 bytes at ``at``."""
        record = j.parse_record(buf[at : at + j.RECORD_SIZE])
        if record is not None:
            self.take(*record)

    def take(self, kind: int, slot: int, window: int, class_ms: int, payload: bytes) -> None:
        """Take the next record."""
        if kind == j.ACT:
            self._take_act(window, class_ms, payload)
            return
        if kind == j.SAID:
            number, what, _, utc_ms = struct.unpack("<HBBq", payload)
            self.said = (number, what, class_ms, utc_ms)
            return
        self.from_ms = max(self.from_ms, class_ms)
        if kind == j.RUN:
            if not reads(j.VERSION, slot):
                raise VersionError("a log of another version")
            self.timeline = "".join(["%02x" % b for b in payload])
            file = self._storage.open_timeline(self.timeline)
            try:
                Reader(file)
            finally:
                file.close()
        elif kind == j.BOX:
            self.cuts += 1  # this one, too, which has told nothing yet
        elif kind == j.HEEDS:
            self.key = payload[:9]  # and how many stations there are
        elif kind == j.STATE:
            self._take_state(class_ms, payload)
        elif kind == j.RESULT:
            self.told = max(self.told, window)
        elif kind == j.TAP:
            self.taps += 1

    def _take_act(self, window: int, class_ms: int, payload: bytes) -> None:
        # Done once the state behind it is told.
        self._act, _, _, was_ms = struct.unpack("<HBBi", payload[:8])
        self.alone = self.alone and class_ms == was_ms  # where it was, and not where others are
        self.from_ms = class_ms
        self.told = 0  # whatever was told is told again
        if class_ms <= self.wait_ms:
            self.wait_ms = -1

    def _take_state(self, class_ms: int, payload: bytes) -> None:
        state, cause, _, utc_ms = struct.unpack("<BBHq", payload)
        if cause == j.BY_CLOCK:  # it was joined again: an act without its state was not done
            self._act = self.number
        self.number = self._act
        self.alone = self.alone or bool(self.key) and cause == j.BY_HAND
        if self.said is not None and self.said[0] <= self.number:
            self.said = None
        self._over = state == STATE_OVER
        self.gate_ms = class_ms if state == AT_GATE else -1
        if state == AT_GATE or cause == j.BY_HAND:
            self.wait_ms = -1
        elif cause == j.BY_WAIT:
            self.wait_ms = class_ms
        if cause == j.BY_CLOCK:
            self.joins = self.joins + 1 if utc_ms - self.joined_ms < JOIN_LASTS_MS else 1
            self.joined_ms = utc_ms
        if utc_ms >= 0:
            self.zero_utc_ms = utc_ms - class_ms

    def go_on(self, session) -> bool:
        """Let the box go on with this run where the class is by now; False if it is over.

        Its timeline is selected by then. Raises OSError.
        """
        if self._over:
            return False
        if self.said is not None and self.said[3] >= 0:
            return self._take_word(session, *self.said)
        zero_utc_ms = self.zero_utc_ms
        if zero_utc_ms < 0:
            settings = session.storage.settings
            zero_utc_ms = settings["start_ms"] if settings["start_run"] == self.name else 0
        if not zero_utc_ms:
            return False
        zero_ms, run_ms = session.clock.run_ms_of_utc(zero_utc_ms), session.run_ms()
        since_ms = session.clock.utc_ms(run_ms) - self.joined_ms
        if self.joins >= JOINS_MOST and since_ms < JOIN_LASTS_MS:
            return False
        runner = session.runner
        is_on = self.gate_ms >= 0 or self.wait_ms >= 0 or run_ms < zero_ms
        if not is_on and runner.place_at(run_ms - zero_ms, self.from_ms) < 0:
            return False
        waits = self.gate_ms >= 0 or self.wait_ms >= 0
        unbegun = self.key and not self.from_ms  # it waits for the remote, however long
        if waits and not unbegun and run_ms - zero_ms - self.from_ms > GATE_MOST_MS:
            return False  # nobody waits at a gate that long
        gate_ms = self.gate_ms
        waits_ms = runner.end_ms_at(self.wait_ms) if self.wait_ms >= 0 else -1
        if 0 <= waits_ms <= run_ms - zero_ms:
            gate_ms = waits_ms  # who chose the same waits there
        if self.key:  # not before it is sure: nobody would lead what else is played on that run
            session.heed(self.key, self.number)  # on a run, and a time, of its own
            runner = session.runner
            zero_ms, run_ms = session.clock.run_ms_of_utc(zero_utc_ms), session.run_ms()
            runner.alone, runner.cuts = self.alone, self.cuts
        session.account.go_on(self, session.dated_by())
        if gate_ms >= 0:
            runner.wait_again(gate_ms, run_ms)
        elif run_ms < zero_ms:
            runner.arm(zero_ms, run_ms)
        else:
            runner.rejoin(zero_ms, run_ms, self.from_ms)
            runner.waiting = waits_ms >= 0
        session.account.recall(runner.counting)
        if runner.counting.before_window > self.told:
            runner.tell_soon(run_ms)
        return True

    def _take_word(self, session, number: int, what: int, class_ms: int, utc_ms: int) -> bool:
        """Take the last word of this remote as what it was: boxes may have heard it, or not."""
        clock = session.clock
        ago_ms = clock.utc_ms(session.run_ms()) - utc_ms
        if ago_ms > GATE_MOST_MS and (class_ms or what != STANDS):
            return False
        session.take_word(self, Act(number, what, class_ms, clock.run_ms_of_utc(utc_ms)))
        return True


def read_past(storage, name: str) -> Past:
    """Return what the journal ``name`` says; raises OSError, FormatError and IndexError."""
    past = Past(storage, name)
    with storage.open_run(name) as file:
        each_record(file, past.look)
    return past
