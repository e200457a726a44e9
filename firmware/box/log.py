"""The journal of the run in progress: records queue in memory and reach the flash in the gaps."""

import time

from handbell_core.journal import RECORD_SIZE
from handbell_core.ticks import ticks_diff

ROOM = 170  # records in memory: 4 presses a second on 4 buttons for 10 s
AGE_US = 1_500_000  # how long records gather before a write is worth it
LEAST_GAP_MS = 600
MOST_GAP_MS = 1_400  # the gap that every timeline guarantees is 1.5 s


class Log:
    """Queues records, writes them when the caller says there is a gap."""

    def __init__(self, storage) -> None:
        self._storage = storage
        self._file = None
        self.name = ""
        self._queue = bytearray(ROOM * RECORD_SIZE)
        self._used = 0
        self._oldest = 0
        self.lost = 0
        self.full = False
        self.worst_write_us = storage.settings["worst_write_us"]
        self.stall_start = self.stall_end = 0

    def open(self) -> None:
        """Begin a new journal; without room the run goes on and its records are lost."""
        self._used = 0
        self.lost = 0
        self.full = False
        try:
            self.name, self._file = self._storage.new_run()
        except OSError:
            self._file = None
            self.full = True

    @property
    def is_open(self) -> bool:
        """Whether a journal is being kept."""
        return self._file is not None

    def keep(self, record: bytes) -> None:
        """Queue a record."""
        if self._used == len(self._queue) or self.full:
            self.lost += 1
            return
        if not self._used:
            self._oldest = time.ticks_us()
        self._queue[self._used : self._used + RECORD_SIZE] = record
        self._used += RECORD_SIZE

    def gap_ms(self) -> int:
        """Return how far away the next cue must be for a write: the worst seen, and half more."""
        return min(MOST_GAP_MS, max(LEAST_GAP_MS, self.worst_write_us * 3 // 2000))

    def due_us(self, tick: int) -> int:
        """Return the microseconds until records should be written, -1 if there are none."""
        return max(0, AGE_US - ticks_diff(tick, self._oldest)) if self._used else -1

    def write(self) -> None:
        """Write and flush what is queued; the chip stands still meanwhile."""
        if not self._used or self._file is None:
            return
        self.stall_start = time.ticks_us()
        try:
            self._file.write(memoryview(self._queue)[: self._used])
            self._file.flush()
        except OSError:
            self.full = True
            self.lost += self._used // RECORD_SIZE
        self._used = 0
        self.stall_end = time.ticks_us()
        self.worst_write_us = max(self.worst_write_us, ticks_diff(self.stall_end, self.stall_start))

    def in_stall(self, tick: int) -> bool:
        """Whether an edge at ``tick`` may have waited for the last write to end."""
        return ticks_diff(tick, self.stall_start) >= 0 and ticks_diff(tick, self.stall_end) <= 2_000

    def close(self) -> None:
        """Write the rest and end the journal."""
        if self._file is None:
            return
        self.write()
        try:
            self._file.close()
            self._storage.save(worst_write_us=self.worst_write_us)
        except OSError:
            self.full = True
        self._file = None
