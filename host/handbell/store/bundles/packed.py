"""A bundle's file: a ZIP file as we write it, of which never more than a part is in memory.

Anything else that a ZIP file may be is refused before its directory is read: what follows it or
stands before it, comments, volumes, more entries than a bundle has, ways to pack that we don't use.
"""

from __future__ import annotations

import os
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from pathlib import Path

from handbell.base.digest import whole_hex
from handbell.base.errors import HandbellError

from .limits import (
    LIST_MOST,
    LOG_MOST,
    PACKED_MOST,
    PARTS_MOST,
    PLAN_MOST,
    TIMELINE_MOST,
    UNPACKED_MOST,
)

LIST, CHECK = "bundle.json", "bundle.sha256"
# What the ZIP reader raises on damaged files; RuntimeError: it takes a part for encrypted.
UNREADABLE = (
    *(zipfile.BadZipFile, zlib.error, EOFError, RuntimeError, struct.error, OverflowError),
    *(NotImplementedError, UnicodeError),
)
_END = struct.Struct("<4s4H2IH")
_ENTRY_MOST = 96  # bytes of a part's entry in the directory, of which 46 are fixed
_PACKED = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_BY_FOLDER = {"logs": LOG_MOST, "timelines": TIMELINE_MOST, "plans": PLAN_MOST}


class Parts(Mapping[str, bytes]):
    """The parts of a bundle by name, read each time they are asked for.

    Once ``sums`` says their digests, HandbellError is raised for one that has another: then the
    file was changed since it was checked.
    """

    def __init__(self, path: Path) -> None:
        """Open a file; raises ValueError, OSError or what is UNREADABLE."""
        self._path = path
        self.size = _require_plain(path)
        self._file = zipfile.ZipFile(path)
        entries = self._file.infolist()
        self._entries = {entry.filename: entry for entry in entries}
        self.sums: dict[str, str] = {}
        if len(self._entries) != len(entries):
            raise ValueError("a part is in it twice")
        if not {LIST, CHECK} <= self._entries.keys():
            raise ValueError("its list is not in it")
        for entry in entries:
            if entry.flag_bits & 1 or entry.compress_type not in _PACKED:
                raise ValueError("a part is packed in another way than ours")
            most = _most(entry.filename)
            if most is None:
                raise ValueError("it holds what is no part of a bundle")
            if entry.file_size > most:
                raise ValueError(f"a part has {entry.file_size:,} bytes")
        if sum(entry.file_size for entry in entries) > UNPACKED_MOST:
            raise ValueError(f"it unpacks to more than {UNPACKED_MOST // 10**6} MB")

    def names(self) -> set[str]:
        """Return the names of the parts, without those of the list and its digest."""
        return self._entries.keys() - {LIST, CHECK}

    def bytes_of(self, name: str) -> int:
        """Return how long a part is."""
        return self._entries[name].file_size

    def raw(self, name: str) -> bytes:
        """Return a part's bytes as they are; raises what is UNREADABLE, or KeyError."""
        entry = self._entries[name]
        with self._file.open(entry) as file:
            data = file.read(entry.file_size)  # what is packed may come to more
            if len(data) != entry.file_size or file.read(1):
                raise zipfile.BadZipFile(f"{name} is of another length")
        return data

    def __getitem__(self, name: str) -> bytes:
        try:
            data = self.raw(name)
        except UNREADABLE as error:
            raise self._changed() from error
        if self.sums.get(name) != whole_hex(data):
            raise self._changed()
        return data

    def _changed(self) -> HandbellError:
        return HandbellError(
            f"{self._path} was changed while it was read",
            "Nothing of it was taken in; import it again when nothing writes to it",
        )

    def __iter__(self) -> Iterator[str]:
        return iter(self.names())

    def __len__(self) -> int:
        return len(self._entries) - 2

    def close(self) -> None:
        """Close the file; nothing can be read then."""
        self._file.close()


def _most(name: str) -> int | None:
    if name in (LIST, CHECK):
        return LIST_MOST
    return _BY_FOLDER.get(name.split("/")[0])


def _require_plain(path: Path) -> int:
    """Return the size of a file that ends as our bundles do; raises BadZipFile, ValueError."""
    about = path.stat()
    if not stat.S_ISREG(about.st_mode):  # to open a pipe would wait for ever
        raise OSError("it is no file")
    if about.st_size > PACKED_MOST:
        raise ValueError(f"it has more than {PACKED_MOST // 10**6} MB")
    if about.st_size < _END.size:
        raise zipfile.BadZipFile("it is too short")
    with path.open("rb") as file:
        file.seek(-_END.size, os.SEEK_END)
        mark, disk, first, here, count, length, at, comment = _END.unpack(file.read(_END.size))
    if mark != b"PK\5\6" or comment or disk or first or here != count:
        raise zipfile.BadZipFile("its end is not whole")
    if at + length + _END.size != about.st_size:
        raise zipfile.BadZipFile("its directory is not where it says")
    if count > PARTS_MOST + 2 or length > count * _ENTRY_MOST:
        raise ValueError(f"it has more than {PARTS_MOST:,} parts")
    return about.st_size
