"""What a run tells its journal besides the runner's records: which box and clock, how it went."""

import errno
import struct
import time

from handbell_core import faults, journal
from handbell_core.ticks import ticks_diff
from handbell_core.timeline import SLOTS

LATE_US = 5_000
END_FOR_US = 120_000_000  # so long a log waits for its end, and the host for the log


class Totals:
    """What the bibs' results add up to; those of the last windows may still be corrected."""

    def __init__(self) -> None:
        self._open: dict[tuple[int, int], int] = {}
        self._sums: dict[int, int] = {}

    def take(self, bib: int, window: int, reps: int) -> bool:
        """Take a result, anew if it is corrected; return whether ``sums`` has changed."""
        self._open[bib, window] = reps
        if len(self._open) <= 2 * SLOTS:
            return False
        self.add_up(window)
        return True

    def add_up(self, but: int = -1) -> None:
        """Add up what no correction can reach any more: all but the results of a window."""
        for key in list(self._open):
            if key[1] != but:
                self._sums[key[0]] = self._sums.get(key[0], 0) + self._open.pop(key)

    def sums(self) -> "list[tuple[int, int]]":
        """Return (bib, reps) of what is added up, by bib."""
        return sorted(self._sums.items())


def _now(write) -> None:
    write()


class Account:
    """The account of one run after another, kept in ``log``; ``facts`` takes what it comes to.

    ``box_id`` says which box it was.
    """

    def __init__(self, log, storage, power, buttons, facts, trouble, box_id) -> None:
        self._log = log
        self._storage = storage
        self._power = power
        self._buttons = buttons
        self._facts = facts
        self._trouble = trouble
        self._box_id = box_id
        self._ended: tuple[int, int] | None = None  # a run whose journal is to be closed
        self._ended_at = 0
        self._end_told = False
        self._fresh()

    def _fresh(self) -> None:
        self._late = 0
        self._worst_late_us = self._noted_late_us = 0
        self._noted_low = False
        self._taps = 0
        self._totals = Totals()
        self._errors = self._trouble.count
        self._facts.totals = []

    def begin(self, timeline: str, clock, key: bytes = b"") -> None:
        """Begin the journal of a run of a timeline (its digest, hex), unless it has one.

        ``clock`` is the model that dates it, None for none; a remote with ``key`` leads it.
        """
        self.finish(_now, True)
        if self._log.is_open:
            return
        digest = bytes(int(timeline[i : i + 2], 16) for i in range(0, 24, 2))
        station = self._storage.settings["station"]
        first = [journal.run_record(digest, station, bool(key))] + self._box_told(clock)
        if key:
            first.append(journal.record(journal.HEEDS, 0, 0, 0, key))
        self._fresh()
        self._facts.was_cut = False
        self._log.open()  # from here on nothing fails: no log is without its first record
        for record in first:
            self._log.keep(record)
        self._note_battery(0)

    def go_on(self, past, clock) -> None:
        """Go on with the journal of a run that the power cut off; raises OSError."""
        first = self._box_told(clock)
        self._log.reopen(past.name)
        self._fresh()
        self._taps = past.taps
        for record in first:
            self._log.keep(record)
        self._note_battery(0)

    def _box_told(self, clock) -> list:
        """Return the records that tell which box it is, and its clock."""
        box = self._box_id + struct.pack("<HH", self._power.mv, self._storage.boot)
        return [journal.record(journal.BOX, 0, 0, 0, box)] + _clock_told(clock)

    def recall(self, counting) -> None:
        """Count again, in ``counting`` and in the totals, what of the log still holds.

        Raises OSError, with the totals as they were.
        """
        from handbell_core.recall import Recall  # seldom needed

        totals = Totals()
        again = Recall(counting, totals)
        self._log.each_record(again.look)
        self._log.each_record(again.take)
        self._totals = totals
        self._facts.totals = totals.sums()

    def tell_clock(self, clock) -> None:
        """Tell by which clock the run goes from now on."""
        if self._log.is_open and self._ended is None:
            for record in _clock_told(clock):
                self._log.keep(record)

    def rang(self, late_us: int, class_ms: int) -> None:
        """A bell rang so late, at ``class_ms``."""
        if late_us > LATE_US:
            self._late += 1
        self._worst_late_us = max(self._worst_late_us, late_us)
        # Told at once, since a run that the power cuts off tells no end; worse ones only, so that
        # they stay few.
        if late_us > LATE_US and late_us > 2 * self._noted_late_us:
            self._noted_late_us = late_us
            self._note(faults.LATE_CUE, late_us, class_ms)
        self._note_battery(class_ms)

    def _note_battery(self, class_ms: int) -> None:
        """Tell it once when the battery is low."""
        power = self._power
        if power.low and not self._noted_low:
            self._noted_low = True
            self._note(faults.BATTERY_WARNING, power.mv, class_ms)

    def keep(self, record: bytes) -> None:
        """Queue a record of the runner, and add up what the end screen says."""
        kind = record[0]
        if kind == journal.TAP:
            self._taps += 1
        elif kind == journal.STATE:
            self._facts.was_cut = False  # one that was is on again
        elif kind == journal.RESULT:
            _, _, window, _, bib, reps = struct.unpack("<BBHiHH", record[:12])
            if not record[18] & journal.RES_LEGS and self._totals.take(bib, window, reps):
                self._facts.totals = self._totals.sums()
        self._log.keep(record)

    def over(self, cause: int, class_ms: int) -> None:
        """The run has ended; ``finish`` closes its journal."""
        if self._log.is_open and self._ended is None:  # else there is none of this run
            self._ended = (cause, class_ms)
            self._ended_at = time.ticks_us()
            self._end_told = False
        self._totals.add_up()
        self._facts.totals = self._totals.sums()

    @property
    def is_over(self) -> bool:
        """Whether a journal waits to be closed."""
        return self._ended is not None

    def finish(self, blind=_now, last=False) -> None:
        """Close the journal of a run that has ended, with what was late and what was lost.

        ``blind(write)`` writes to the flash, which stops the chip. What a flash does not take yet
        is to be tried again, unless this is the ``last`` time.
        """
        if self._ended is None:
            return
        try:
            blind(lambda: self._close(last))
        finally:  # whatever fails, this start is not set again
            try:
                self._storage.save(start_ms=0)
            except OSError as error:  # a log with its end is not gone on with anyway
                self._trouble.tell("log", error)

    def _close(self, last: bool) -> None:
        log = self._log
        kept = False
        try:
            try:
                log.make_room()
            except Exception as error:  # noqa: BLE001 - the end is told all the same
                self._trouble.tell("log", error)
            if not self._end_told:
                log.write_all()  # what that loses is told
                self._end_told = True
                self._tell_end()
            kept = log.write_all()
        finally:
            too_long = ticks_diff(time.ticks_us(), self._ended_at) > END_FOR_US
            if kept or last or too_long and log.name:  # the next run must not go on in this log
                self._ended = None
                if not log.close():  # which the next log does not say
                    self._trouble.tell("log", OSError(errno.EIO))

    def _tell_end(self) -> None:
        cause, class_ms = self._ended
        lost, fault = self._log.lost, self._log.fault
        if lost or fault == faults.FLASH_ERROR:
            self._note(fault or faults.STORAGE_FULL, lost, class_ms)
        if self._buttons.lost:
            self._note(faults.EDGES_LOST, self._buttons.lost, class_ms)
        self._buttons.lost = 0
        errors = self._trouble.count - self._errors
        if errors:
            self._note(faults.FIRMWARE, errors, class_ms)
        worst = min(self._worst_late_us, 0xFFFFFFFF)
        payload = struct.pack("<BBHII", cause, 0, min(self._late, 0xFFFF), worst, self._taps)
        self._log.keep(journal.record(journal.END, 0, 0, class_ms, payload))

    def _note(self, fault: int, value: int, class_ms: int) -> None:
        payload = struct.pack("<HHi", fault, 0, min(value, 0x7FFFFFFF))
        self._log.keep(journal.record(journal.NOTE, 0, 0, class_ms, payload))


def _clock_told(m) -> list:
    """Return the records that tell a clock model."""
    if m is None:
        return []
    return [
        journal.record(journal.UTC, 0, 0, 0, struct.pack("<qI", m.utc_us, m.bound_us)),
        journal.record(journal.OWN, 0, 0, 0, struct.pack("<qi", m.box_us, m.rate_ppb)),
    ]
