"""The flash filesystem: settings, timelines and journals, safe against a cut at any write.

A file becomes what its name says only by a rename after it was written whole; a journal is
appended and flushed. ``flush`` is the point of durability of littlefs.
"""

import binascii
import errno
import json
import os
import struct

from handbell_core.journal import BY_CUT, END, RECORD_SIZE, parse_record
from handbell_core.journal import record as journal_record
from handbell_core.timeline import FormatError, digest_of, verify

ENOSPC = 28  # errno has no name for it on the chip
TIMELINES = "timelines"
RUNS = "runs"
KEEP_FREE_KB = 64
RESERVES = "reserve", "reserve2"  # for a log in class, and for its end
RESERVE_SIZE = 8192  # bytes
NOTHING = bytes(256)  # what they are made of; more at once may not fit into memory
LABEL_MOST = 32  # no text among the settings is longer


def hex_of(digest: bytes) -> str:
    """Return a digest in hex."""
    return binascii.hexlify(digest).decode()


class Storage:
    """Files of a box below ``root`` ("" is the current folder)."""

    def __init__(self, root: str) -> None:
        self._root = root
        self.settings: dict = {
            "station": 0,
            "label": "",
            "remote": False,  # whether it leads, which it is at its start
            "buttons": 0,  # that are fitted; 0: as many as the board has pins for
            "starts": 0,
            "last": "",
            "worst_write_us": 0,
            "tz_s": 0,
            "tz_at_s": 0,  # UTC from which the zone is another (0: never), and which
            "tz_next_s": 0,
            "ppb": 0,  # the crystal's rate, its bound (0: not known) and when it was measured
            "ppb_bound": 0,
            "rate_s": 0,
            "rtc_s": 0,  # when the clock part was held against UTC (0: never), and what it was off
            "rtc_off_us": 0,
            "rtc_bound_us": 0,
            "start_ms": 0,  # UTC of the start that a host has set, and the run it is of
            "start_run": "",
        }
        self.settings_read = False  # until then they are a new box's, and nothing is kept
        self.when_read = _nothing  # called when they are read later than at the start
        self._unkept: dict = {}  # settings that the flash has not taken yet
        self.boot = 0  # the number of this start of the box, 0 while that can't be read
        self.room_kb = 0
        self.listed = self.measured = True  # the last count of journals, of room, could be made
        self._count = 0
        for folder in (TIMELINES, RUNS):
            try:
                os.mkdir(self.path(folder))
            except OSError:
                pass
        for _ in range(2):
            self.read_settings()
        self._join_tails()
        self._keep_reserve()

    def path(self, *parts: str) -> str:
        """Return the path of a file of this box."""
        return "/".join(((self._root,) if self._root else ()) + parts)

    # Settings

    def read_settings(self) -> bool:
        """Read what is kept, unless that is done; False when it can't be read.

        What is not there, or not what it should be, is as in a new box.
        """
        if not self.settings_read and self._read_settings():
            self.settings_read = True
            self.when_read()
        return self.settings_read

    def _read_settings(self) -> bool:
        try:
            with open(self.path("box.json")) as f:
                stored = json.load(f)
            for key, usual in self.settings.items():
                kept = stored.get(key)
                if type(kept) is type(usual) and (type(kept) is not str or len(kept) <= LABEL_MOST):
                    self.settings[key] = kept
        except OSError as error:
            if error.errno != errno.ENOENT:
                return False  # it is there, and must not be written over
        except MemoryError:
            return False
        except (ValueError, AttributeError):
            pass
        return True

    def count_start(self) -> None:
        """Count this start of the box, once, if the settings are read."""
        if self.boot or not self.read_settings():
            return
        self.boot = (self.settings["starts"] + 1) & 0xFFFF
        try:
            self.save(starts=self.boot)
        except (OSError, MemoryError):
            pass  # a full flash must not keep the box from starting

    def save(self, **changes) -> None:
        """Change settings and keep them; raises OSError when the flash is full or fails.

        What it did not take holds all the same, and is written with the next one that is saved.
        What it has is not written again. While they can't be read, nothing is changed.
        """
        if not self.read_settings():
            raise OSError(errno.EIO)
        settings, unkept = self.settings, self._unkept
        for key, value in changes.items():
            if settings[key] != value:
                unkept[key] = value
        if not any(key in unkept for key in changes):
            return
        settings.update(unkept)
        self.write("box.json", json.dumps(settings).encode())
        unkept.clear()

    def write(self, name: str, data: bytes) -> None:
        """Make ``data`` the whole of a small file: written aside first; raises OSError."""
        aside = self.path(name.split(".")[0] + ".tmp")
        with open(aside, "wb") as f:
            f.write(data)
        os.rename(aside, self.path(name))

    def free_kb(self) -> int:
        """Return the free space; asking takes 6 ms on the chip, ``room_kb`` is what it was.

        Raises OSError.
        """
        self.measured = False
        stat = os.statvfs(self._root or ".")
        self.measured = True
        # littlefs may count more blocks as used than there are.
        self.room_kb = 0 if stat[3] > stat[2] else stat[0] * stat[3] // 1024
        return self.room_kb

    def room(self) -> int:
        """Return the free space, or what it was when the flash last said so."""
        try:
            self.free_kb()
        except (OSError, MemoryError):
            pass
        return self.room_kb

    def _keep_reserve(self) -> None:
        """Hold some room back, so that a full flash can still be told in the journal.

        Never raises: what could not be held is held after the next start, or log that is erased.
        """
        for name in RESERVES:
            path = self.path(RUNS, name)
            try:
                if self._holds(path) or self.free_kb() <= KEEP_FREE_KB:
                    continue
                try:
                    with open(path, "wb") as f:
                        for _ in range(RESERVE_SIZE // len(NOTHING)):
                            f.write(NOTHING)
                except Exception as error:
                    os.remove(path)  # half of it would be taken for all
                    raise error
            except Exception:  # noqa: BLE001 - see above
                pass

    def _holds(self, path: str) -> bool:
        """Whether a reserve is there, and whole; raises OSError."""
        try:
            return self.size(path) >= RESERVE_SIZE
        except OSError as error:
            if error.errno != errno.ENOENT:
                raise
            return False

    def drop_reserve(self, at_end: bool) -> bool:
        """Give back some of the room that was held, 8 KB; False when there is none for this."""
        for name in RESERVES if at_end else RESERVES[:1]:
            try:
                os.remove(self.path(RUNS, name))
                return True
            except OSError:
                pass
        return False

    # Timelines

    def timelines(self) -> list:
        """Return the digests (hex) of the timelines that are whole, oldest first."""
        return [name[6:-3] for name in self._timeline_files()][::-1]

    def _timeline_path(self, digest: str) -> str:
        for name in self._timeline_files():
            if name[6:-3] == digest:
                return self.path(TIMELINES, name)
        return ""

    def _timeline_files(self) -> list:
        """Return the names of the timelines' files, newest first."""
        names = [n for n in os.listdir(self.path(TIMELINES)) if n.endswith(".tl")]
        return sorted(names, reverse=True)

    def open_timeline(self, digest: str):
        """Return an open timeline, checked whole; raises OSError or FormatError."""
        path = self._timeline_path(digest)
        if not path:
            raise OSError(2)
        f = open(path, "rb")
        try:
            verify(f)
        except FormatError:
            f.close()
            raise
        return f

    # Files of either kind, for the link

    def find(self, of: str, name: str) -> str:
        """Return the path of a timeline (by digest) or a run (by name), "" if there is none."""
        if of == TIMELINES:
            return self._timeline_path(name)
        return self.path(RUNS, name) if name in self.runs() else ""

    def read(self, path: str, at: int, size: int) -> bytes:
        """Return some bytes of a file."""
        with open(path, "rb") as f:
            f.seek(at)
            return f.read(size)

    def digest(self, path: str) -> str:
        """Return a file's digest in hex."""
        with open(path, "rb") as f:
            return hex_of(digest_of(f))

    def size(self, path: str) -> int:
        """Return a file's size in bytes."""
        return os.stat(path)[6]

    def remove(self, path: str) -> None:
        """Erase a file, and what belongs to it; raises OSError."""
        if path.endswith(".hbj") and not self.read_settings():
            raise OSError(errno.EIO)  # its start may be set there
        os.remove(path)
        if path.endswith(".hbj"):
            name = path.split("/")[-1]
            self.drop_tail(name)
            if self.settings["start_run"] == name:
                self.save(start_ms=0)  # a later journal may get that name
            self._keep_reserve()  # a class may have needed what was held

    # Journals

    def runs(self) -> list:
        """Return the names of the journals, oldest first."""
        return sorted(n for n in os.listdir(self.path(RUNS)) if n.endswith(".hbj"))

    def count_runs(self) -> int:
        """Return how many journals there are, or were when the flash last said so."""
        self.listed = False
        try:
            self._count = len(self.runs())
            self.listed = True
        except (OSError, MemoryError):
            pass
        return self._count

    def tail_path(self, name: str) -> str:
        """Return the path of the tail beside a journal."""
        return self.path(RUNS, name[:-4] + ".tail")

    def drop_tail(self, name: str) -> None:
        """Remove a journal's tail, if it has one."""
        try:
            os.remove(self.tail_path(name))
        except OSError:
            pass

    def _join_tails(self) -> None:
        """After a power cut: append each tail to its journal, unless that was done already."""
        try:
            names = os.listdir(self.path(RUNS))
        except OSError:
            return  # each is joined before it is listed
        for name in names:
            if name.endswith(".tail"):
                self.join_tail(name[:-5] + ".hbj")

    def join_tail(self, run: str) -> bool:
        """Append what a journal's tail still holds; False when that can't be done now."""
        for _ in range(2):
            try:
                self._join_tail(run)
                return True
            except OSError as error:
                if error.errno == ENOSPC:
                    self.drop_reserve(True)
        return False

    def _join_tail(self, run: str) -> None:
        try:
            with open(self.tail_path(run), "rb") as f:
                tail = f.read()
            size = self.size(self.path(RUNS, run))
        except OSError as error:
            if error.errno != errno.ENOENT:
                raise
            self.drop_tail(run)  # there is none, or none of a journal that is still here
            return
        if len(tail) > 4 and struct.unpack("<I", tail[:4])[0] == size:
            with open(self.path(RUNS, run), "ab") as f:
                f.write(memoryview(tail)[4:])
        self.drop_tail(run)

    def open_run(self, name: str):
        """Return a journal, open for reading."""
        return open(self.path(RUNS, name), "rb")

    def reopen_run(self, name: str):
        """Return (file, size, whole) of a journal, open for appending; raises OSError if none is.

        A torn end is made a record, which is no good: ``whole`` bytes before it are.
        """
        path = self.path(RUNS, name)
        size = self.size(path)
        torn = size % RECORD_SIZE
        file = open(path, "ab")
        if torn:
            file.write(bytes(RECORD_SIZE - torn))
            file.flush()
        return file, self.size(path), size - torn

    def unfinished(self) -> str:
        """Return the name of the newest journal if its run has not ended, else ""."""
        names = self.runs()
        if not names:
            return ""
        path = self.path(RUNS, names[-1])
        if not self.join_tail(names[-1]):
            raise OSError(errno.EIO)
        whole = self.size(path) // RECORD_SIZE
        last = (
            parse_record(self.read(path, (whole - 1) * RECORD_SIZE, RECORD_SIZE)) if whole else None
        )
        return "" if last is None or last[0] == END else names[-1]

    def give_up(self, name: str) -> None:
        """End a journal that the power cut off, for good; raises OSError."""
        if not self.join_tail(name):
            raise OSError(errno.EIO)
        end = journal_record(END, 0, 0, 0, struct.pack("<BBHII", BY_CUT, 0, 0, 0, 0))
        for again in (True, False):
            try:
                with self.reopen_run(name)[0] as file:
                    file.write(end)
                return
            except OSError:
                if not again:
                    raise
                self.drop_reserve(True)

    def new_run(self):
        """Return (name, file) of a new journal, open for appending."""
        have = self.runs()
        number = int(have[-1][:5]) + 1 if have else 1
        name = "%05d.hbj" % number
        self.drop_tail(name)  # of an older one of that name
        return name, open(self.path(RUNS, name), "ab")


def _nothing() -> None:
    """Nobody waits for the settings."""
