"""What went wrong last, kept for whoever mends it: shown, told by ``status``, and in a small file.

The file outlives the box's start, since a box that failed is switched off and on first.
"""

import io
import sys
import time

from handbell_core.ticks import ticks_diff

FILE = "trouble.txt"
SHORT_MOST = 80  # characters in ``status``; ``erred`` tells all of it
TEXT_MOST = 600  # of the traceback's end
SAME_US = 10_000_000  # an error that comes again and again is written out this often
SETTLE_US = 3_000_000  # and kept when it is this old, and the one kept before
KEEP_AGAIN_US = 60_000_000  # is older than this
NO_MEMORY = b"no memory left to say what failed"


class Trouble:
    """Errors of the box's own program; ``storage`` keeps the last one."""

    def __init__(self, storage) -> None:
        self._storage = storage
        self.count = 0  # since the start of the box
        self.where = ""  # the job that failed last
        self.text = b""  # the last one's traceback, that of an earlier start until there is one
        self._told = self._kept = 0  # when the last one came, and when one was written
        self._unkept = False
        try:
            self.text = storage.read(storage.path(FILE), 0, TEXT_MOST + 40)
        except OSError:
            pass  # none was kept

    def tell(self, where: str, error: Exception) -> None:
        """``where`` failed; may be called as often as it fails, and never raises."""
        self.count += 1
        tick = time.ticks_us()
        if where == self.where and 0 <= ticks_diff(tick, self._told) < SAME_US:
            return
        self.where = where
        self._told = tick
        self._unkept = True
        try:
            out = io.StringIO()
            sys.print_exception(error, out)
            self.text = self._head(where) + b"\n" + out.getvalue().encode()[-TEXT_MOST:]
        except Exception:  # noqa: BLE001 - without memory the name must do, and without any, this
            self.text = NO_MEMORY
            try:
                self.text = self._head(where)
            except Exception:  # noqa: BLE001 - nothing ends the loop
                pass

    def _head(self, where: str) -> bytes:
        return b"start %d, %s" % (self._storage.boot, where.encode())

    def line(self) -> bytes:
        """Return the last error in one line: in which start of the box, which job, what; or b""."""
        lines = self.text.rstrip().split(b"\n")
        return lines[0] if len(lines) == 1 else b"%s: %s" % (lines[0], lines[-1])

    def short(self) -> str:
        """Return the line as far as it fits into a report."""
        line = self.line()[:SHORT_MOST]  # what would take two signs in JSON is no more than a mark
        return "".join([chr(c) if 32 <= c < 127 and c != 34 and c != 92 else "'" for c in line])

    # The loop's part

    def due_us(self, tick: int) -> int:
        """Return in how many microseconds the last error is to be kept, -1 if it is."""
        if not self._unkept:
            return -1
        wait_us = SETTLE_US - ticks_diff(tick, self._told)
        if self._kept:
            since_us = ticks_diff(tick, self._kept)
            if 0 <= since_us < KEEP_AGAIN_US:  # else it is long ago: ticks wrap
                wait_us = max(wait_us, KEEP_AGAIN_US - since_us)
        return max(0, wait_us)

    def keep(self) -> None:
        """Write the last error into its file; a flash that doesn't take it is not asked again."""
        self._unkept = False
        self._kept = time.ticks_us() or 1
        try:
            self._storage.write(FILE, self.text)
        except OSError:
            pass
