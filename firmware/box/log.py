"""The journal of the run in progress: records queue in memory and reach the flash in the gaps.

Appending a few records to a large file costs an erase each time. So the latest ones go to a small
file beside it, the tail, which littlefs keeps in its directory and rewrites for a sixth of an
erase; when that is full they are appended to the journal together. The tail begins with the
journal's size to which it belongs (u32): after a power cut a tail that was appended already is
known by that.
"""

import errno
import struct
import time

from handbell_core import faults
from handbell_core.journal import RECORD_SIZE, SAID, TAP
from handbell_core.ticks import ticks_add, ticks_diff

from .reading import each_record
from .storage import ENOSPC

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import BinaryIO

# Records in memory. Taps: 4 a second on 4 buttons for 10 s; behind them what counts more, at least
# the results of two windows; behind that what the end tells.
TAPS_BYTES = 160 * RECORD_SIZE
MORE_BYTES = TAPS_BYTES + 8 * RECORD_SIZE
ROOM_BYTES = MORE_BYTES + 4 * RECORD_SIZE
TAIL_BYTES = 19 * RECORD_SIZE  # with its 4-byte header littlefs keeps it inside a directory
RESERVE_KB = 16
AGE_US = 1_500_000  # how long records gather before a write is worth it
LATE_US = 30_000_000  # every 5 s of a class have a gap that a write fits into
LEAST_GAP_MS = 600
TRIES = 3  # writes that fail one after another are told; so often the end is tried at once,
END_AGAIN_US = 2_000_000  # and then again so much later
MOST_GAP_MS = 1_400  # the gap that every timeline guarantees is 1.5 s


class Log:
    """Queues records, writes them when the caller says there is a gap."""

    def __init__(self, storage) -> None:
        self._storage = storage
        self._file: "BinaryIO" = None
        self.is_open = False  # a run is being logged, though its file may still have to be opened
        self._size = 0
        self.name = ""
        self._queue = bytearray(ROOM_BYTES)
        self._tail = bytearray(4 + TAIL_BYTES)
        self._oldest = 0
        self.worst_write_us = 0
        self._fresh()

    def _fresh(self) -> None:
        self._used = self._tail_used = 0
        self._tries = 0  # writes that failed, one after another
        self.lost = 0
        self.full = False  # nothing more is written before the end
        self._sure = True  # how much of the queue the journal holds is known
        self.fault = 0  # why something of this run was not kept
        self._ending = False
        self.worst_write_us = max(self.worst_write_us, self._storage.settings["worst_write_us"])

    def open(self) -> None:
        """Begin a new journal; one that can't be opened yet is tried again with each write."""
        self._fresh()
        self.name = ""
        self.is_open = True
        try:
            self._new_file()
        except Exception as error:  # noqa: BLE001 - it is tried again with each write
            self._failed(error)

    def _new_file(self) -> None:
        self.name, self._file = self._storage.new_run()
        self._size = 0
        self._start_tail()

    def reopen(self, name: str) -> None:
        """Go on with a journal that the power cut off; raises OSError."""
        self._fresh()
        self.name = name
        if not self._storage.join_tail(name):
            raise OSError(errno.EIO)  # what it holds would be written over
        self._file, self._size, _ = self._storage.reopen_run(name)
        self.is_open = True
        self._start_tail()

    def keep(self, record: bytes) -> None:
        """Queue a record; without room for it a tap is lost, and then whatever comes."""
        is_tap = record[0] == TAP
        room = ROOM_BYTES if self._ending else TAPS_BYTES if is_tap else MORE_BYTES
        if self._used >= room and (is_tap or not self._lose_tap()):
            self.lost += 1
            return
        if not self._used:
            self._oldest = time.ticks_us()
        if record[0] == SAID:  # boxes go by it already, so it gathers no others
            self._oldest = ticks_add(time.ticks_us(), -AGE_US)
        self._queue[self._used : self._used + RECORD_SIZE] = record
        self._used += RECORD_SIZE

    def each_record(self, take) -> None:
        """Call ``take(buf, at)`` for each record of this run, on the flash and not; raises OSError.

        The journal holds whole records only, so that is where a chunk of it ends.
        """
        if self._file is not None:
            with self._storage.open_run(self.name) as file:
                each_record(file, take)
        for buf, first, used in ((self._tail, 4, self._tail_used), (self._queue, 0, self._used)):
            for at in range(first, first + used, RECORD_SIZE):
                take(buf, at)

    def _lose_tap(self) -> bool:
        """Give up the newest tap that waits; False without one, or if the journal may hold it."""
        queue, at = self._queue, self._used if self._sure else 0
        while at:
            at -= RECORD_SIZE
            if queue[at] == TAP:
                queue[at : self._used - RECORD_SIZE] = queue[at + RECORD_SIZE : self._used]
                self._used -= RECORD_SIZE
                self.lost += 1
                return True
        return False

    def gap_ms(self) -> int:
        """Return how far away the next cue must be for a write: the worst seen, and half more."""
        return min(MOST_GAP_MS, max(LEAST_GAP_MS, self.worst_write_us * 3 // 2000))

    def due_us(self, tick: int) -> int:
        """Return the microseconds until records should be written, -1 if there are none."""
        if self.full or not self._used:
            return -1
        return max(0, AGE_US - ticks_diff(tick, self._oldest))

    def end_due_us(self, tick: int) -> int:
        """Return the microseconds until an end that failed is tried again, 0 for the first try."""
        if not self._ending or not self._tries:
            return 0
        return max(0, END_AGAIN_US - ticks_diff(tick, self._oldest))

    def is_late(self, tick: int) -> bool:
        """Whether records wait too long for the flash, though nothing is known to be wrong."""
        if not self._used or self.full or self.fault == faults.FLASH_ERROR:
            return False
        return self.is_open and ticks_diff(tick, self._oldest) > LATE_US

    def write(self) -> bool:
        """Write and flush what is queued; the chip stands still meanwhile.

        False when something is not kept. What a flash with room did not take is tried again.
        """
        if self.full or not self.is_open:
            return False
        if not self._used:
            return True
        start = time.ticks_us()
        kept = False
        fresh = memoryview(self._queue)[: self._used]
        try:
            if self._file is None:
                self._new_file()
            if self._tail_used + self._used <= TAIL_BYTES:
                at = 4 + self._tail_used
                self._tail[at : at + self._used] = fresh
                with open(self._storage.tail_path(self.name), "wb") as f:
                    f.write(memoryview(self._tail)[: at + self._used])
                self._tail_used += self._used
            else:
                self._into_journal(fresh)
            kept = True
            self._tries = self._used = 0
        except Exception as error:  # noqa: BLE001 - whatever it is, the log says that it failed
            self._failed(error)
        self.worst_write_us = max(self.worst_write_us, ticks_diff(time.ticks_us(), start))
        return kept

    def _failed(self, error: Exception) -> None:
        """A write failed: have its records tried again, with the file opened anew.

        Without room, and without a reserve to give up, what comes waits in memory for the end; a
        log's first records are tried all the same.
        """
        self._tries += 1
        self._oldest = time.ticks_us()
        no_room = isinstance(error, OSError) and error.errno == ENOSPC
        more_room = False
        try:
            more_room = no_room and self._storage.drop_reserve(self._ending)
            self._open_anew()
        except Exception:  # noqa: BLE001 - it may open at the next try
            pass
        if no_room:
            self.fault = faults.STORAGE_FULL
            begun = self._file is not None and (self._size or self._tail_used)
            self.full = bool(begun and not more_room and not self._ending)
        elif self._tries >= TRIES:
            self.fault = self.fault or faults.FLASH_ERROR

    def _open_anew(self) -> None:
        """Open the file again: littlefs takes no more into one that met an error."""
        if self._file is None:
            self._new_file()
            return
        self._sure = False
        try:
            self._file.close()
        except (OSError, ValueError):
            pass
        self._file, size, whole = self._storage.reopen_run(self.name)
        self._take_off(whole - self._size)
        self._size = size
        self._sure = True
        self._start_tail()

    def _take_off(self, kept: int) -> None:
        """Forget ``kept`` bytes that are in the journal: of the tail first, then of the queue."""
        of_tail = min(max(0, kept), self._tail_used)
        left = self._tail_used - of_tail
        self._tail[4 : 4 + left] = self._tail[4 + of_tail : 4 + self._tail_used]
        self._tail_used = left
        of_queue = min(max(0, kept - of_tail), self._used)
        left = self._used - of_queue
        self._queue[:left] = self._queue[of_queue : self._used]
        self._used = left

    def _into_journal(self, fresh) -> None:
        """Append the tail and what is fresh to the journal; the tail's file is stale by that."""
        self._file.write(memoryview(self._tail)[4 : 4 + self._tail_used])
        self._file.write(fresh)
        self._file.flush()
        self._size += self._tail_used + len(fresh)
        self._tail_used = 0
        self._start_tail()

    def _start_tail(self) -> None:
        self._tail[0:4] = struct.pack("<I", self._size)

    def make_room(self) -> None:
        """The run has ended: on a full flash, give up a reserve so that this can be told."""
        self._ending = True
        was_full, self.full = self.full, False
        if was_full or self._storage.free_kb() < RESERVE_KB:
            self._storage.drop_reserve(True)

    def write_all(self) -> bool:
        """Write until nothing waits any more; False when that fails every time."""
        for _ in range(TRIES):
            self.write()
            if not self._used:
                return True
        return False

    def close(self) -> bool:
        """Write the rest and end the journal; what stays in the tail is joined to it later.

        Return whether all is kept.
        """
        if not self.is_open:
            return not self._used
        self._ending = True
        kept = False
        try:
            for _ in range(TRIES):
                if self._all_in():
                    kept = True
                    self._file.close()
                    if not self.lost:
                        self.fault = 0  # later tries have kept all
                    self._storage.drop_tail(self.name)
                    self._storage.save(worst_write_us=self.worst_write_us)
                    break
            else:
                self.fault = self.fault or faults.FLASH_ERROR
                self.lost += self._used // RECORD_SIZE
        except Exception:  # noqa: BLE001 - the journal is whole; a tail left is known to be stale
            pass
        finally:  # no later run may go on in this log
            file, self._file = self._file, None
            self.is_open = False
            try:
                file.close()
            except Exception:  # noqa: BLE001 - there may be none
                pass
        return kept

    def dropped(self, name: str) -> None:
        """A journal was erased by the host, and what it lacks is nobody's trouble any more."""
        if not self.is_open and self.name in ("", name):
            self.fault = 0

    def _all_in(self) -> bool:
        """Write what is queued and append the tail to the journal; False when that failed."""
        self.write()
        if self._used:
            return False
        try:
            if self._file is None:
                raise OSError(errno.EIO)
            self._into_journal(b"")
        except Exception as error:  # noqa: BLE001 - it is tried again
            self._failed(error)
            return False
        return True
