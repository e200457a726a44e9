"""The transfer of a plan onto the flash, in pieces that go on where they were cut off."""

import os

from handbell_core.journal import RECORD_SIZE, RUN, parse_record
from handbell_core.timeline import FormatError, VersionError, digest_of, verify

from .storage import RUNS, TIMELINES, Storage, hex_of

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import BinaryIO

FLUSH_EVERY = 2048  # bytes of a transfer
KEEP_TIMELINES = 12


class Transfer(Storage):
    """A box's storage that takes plans in."""

    def __init__(self, root: str) -> None:
        Storage.__init__(self, root)
        self._part: "BinaryIO" = None
        self._part_name = ""
        self._part_at = 0
        self._unflushed = 0

    def _is_whole(self, digest: str) -> bool:
        """Whether a timeline is here and is what its name says."""
        path = self._timeline_path(digest)
        try:
            return bool(path) and self.digest(path) == digest
        except OSError:
            return False

    def put_at(self, digest: str) -> int:
        """Return how many bytes of a transfer are here, -1 if the timeline is whole.

        One that is here but damaged is sent anew, beside it.
        """
        if self._part is not None and self._part_name == digest:
            return self._part_at
        if self._is_whole(digest):
            return -1
        self._close_part()
        path = self.path(TIMELINES, "part")
        mine = False
        try:
            with open(self.path(TIMELINES, "part.of")) as f:
                mine = f.read() == digest
        except OSError:
            pass
        if not mine:
            with open(path, "wb"):
                pass
            with open(self.path(TIMELINES, "part.of"), "w") as f:
                f.write(digest)
        self._part = open(path, "ab")
        self._part_at = os.stat(path)[6]
        self._part_name = digest
        return self._part_at

    def put(self, digest: str, at: int, data: bytes) -> int:
        """Append a chunk that begins at ``at``; return where the next one must begin.

        A chunk that is here already changes nothing. Raises OSError when the flash is full.
        """
        have = self.put_at(digest)
        if have < 0 or at != have:
            return have
        try:
            self._part.write(data)
            self._unflushed += len(data)
            if self._unflushed >= FLUSH_EVERY:
                self._part.flush()
                self._unflushed = 0
        except OSError as error:
            try:
                self._close_part()
            except OSError:
                pass  # the next chunk begins where the file ends
            raise error
        self._part_at += len(data)
        return self._part_at

    def _close_part(self) -> None:
        part, self._part = self._part, None
        self._part_name = ""
        self._unflushed = 0
        if part is not None:
            part.close()

    def finish_put(self, digest: str) -> bool:
        """Make a whole transfer the box's own; False (and start over) if it is not whole.

        Raises VersionError, and drops it, if this firmware can't read its version.
        """
        if self._part_name != digest and self._is_whole(digest):
            return True
        if self._part_name != digest:
            self.put_at(digest)
        self._close_part()
        part = self.path(TIMELINES, "part")
        try:
            with open(part, "rb") as f:
                good = hex_of(digest_of(f)) == digest
                if good:
                    verify(f)
        except VersionError:
            os.remove(part)
            raise
        except FormatError:
            good = False
        if not good:
            os.remove(part)
            return False
        have = self._timeline_files()[::-1]
        number = int(have[-1][:5]) + 1 if have else 1
        os.rename(part, self.path(TIMELINES, "%05d-%s.tl" % (number, digest)))
        spare = len(have) + 1 - KEEP_TIMELINES if self.settings_read else 0
        old = have[: max(0, spare)]
        for name in have:
            other = name[6:-3]
            is_spare = name in old and other != self.settings["last"]
            if other == digest or is_spare and not self._is_needed(other):
                os.remove(self.path(TIMELINES, name))
        return True

    def _is_needed(self, digest: str) -> bool:
        """Whether a journal on this box plays that timeline: the host may need it to read it."""
        many = len(self._timeline_files()) > 2 * KEEP_TIMELINES
        for name in self.runs():
            try:
                record = parse_record(self.read(self.path(RUNS, name), 0, RECORD_SIZE))
            except (OSError, ValueError):
                record = None
            if record is None or record[0] != RUN:
                if not many:
                    return True  # a log that does not say which it plays may be of this one
            elif hex_of(record[4]) == digest:
                return True
        return False
