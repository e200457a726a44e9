"""Whole files: what is written is the old one or the new one, never half of either."""

from __future__ import annotations

import codecs
import contextlib
import os
import re
import secrets
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from handbell.base.errors import HandbellError

ELSEWHERE = "See that the folder may be written and has room, or name another place"

_HEAD, _TAIL = 256, 1 << 16  # bytes that are read of a file to tell its sort
_PAGE, _LINE = 160, 40  # bytes that all our pages, and all tables or lists of a sort, begin with


def beside(path: Path) -> Path:
    """Return a new name in the same folder, to write a file under until it is whole."""
    return path.with_name(f".{path.name}.{secrets.token_hex(4)}")


def is_left_over(path: Path) -> bool:
    """Whether a file has such a name: where nobody writes, a write was interrupted.

    SQLite keeps files of its own beside one.
    """
    return re.fullmatch(r"\..+\.[0-9a-f]{8}(-journal|-wal|-shm)?", path.name) is not None


def require_name(path: Path) -> None:
    """Raise HandbellError for what other programs take for their output, and here is no name."""
    if str(path) == "-":
        raise HandbellError("- is no name of a file", "Name a file, and read it when it is there")


@contextlib.contextmanager
def whole_file(
    path: Path, remedy: str = ELSEWHERE, *, own_sort: bool = False, private: bool = False
) -> Iterator[BinaryIO]:
    """Give a file to write that takes the place of ``path`` once it is whole and on the disk.

    It keeps the rights of the one before; a link goes on pointing at it. With ``own_sort`` it
    renews only a file of its own sort: a page or a sound the last one of its name, never a plan.
    With ``private``, for what people's names may stand in, a new one is for its owner only.
    Raises HandbellError, with ``remedy``, when it can't be written; what was there stays then.
    """
    require_name(path)
    if path.is_dir():
        raise HandbellError(
            f"{path} is a folder", "Name a file in it" if remedy is ELSEWHERE else remedy
        )
    path = path.resolve()
    part = beside(path)
    try:
        if private:
            private_folder(path.parent)
        else:
            path.parent.mkdir(parents=True, exist_ok=True)
        with _begun(part, private) as file:
            yield file  # who writes may close it
        _sync(part, os.O_RDWR)  # a laptop may run flat
        if path.exists():
            if own_sort:
                _require_own_sort(part, path)
            shutil.copymode(path, part)
        part.replace(path)
        with contextlib.suppress(OSError):  # Windows opens no folder
            _sync(path.parent, os.O_RDONLY)
    except OSError as error:
        raise HandbellError(
            f"{path} can't be written: {error.strerror or error}", remedy
        ) from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def write_whole(
    path: Path,
    data: bytes | str,
    remedy: str = ELSEWHERE,
    *,
    own_sort: bool = False,
    private: bool = False,
) -> None:
    """Write a whole file at once, text as UTF-8 with its line ends as they are; see whole_file."""
    try:
        raw = data.encode() if isinstance(data, str) else data
    except UnicodeError as error:
        raise HandbellError(
            f"{path} can't be written: a text for it has signs that are no letters",
            "Type the text anew",
        ) from error
    with whole_file(path, remedy, own_sort=own_sort, private=private) as file:
        file.write(raw)


def private_folder(folder: Path) -> None:
    """Make a folder and those above it that are missing, for their owner only; raises OSError."""
    for each in reversed([folder, *folder.parents]):
        if not each.exists():
            each.mkdir(0o700, exist_ok=True)


def private_file(path: Path) -> None:
    """Make an empty file for its owner only, unless there is one; raises OSError."""
    private_folder(path.parent)
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))


def _begun(part: Path, private: bool) -> BinaryIO:
    how = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    return os.fdopen(os.open(part, how, 0o600 if private else 0o666), "wb")


def _sync(path: Path, how: int) -> None:
    handle = os.open(path, how)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _require_own_sort(fresh: Path, path: Path) -> None:
    if path.stat().st_size and _sort(path) != _sort(fresh):
        raise HandbellError(
            f"{path} is there already and holds something else", "Name another file"
        )


def _sort(path: Path) -> bytes:
    """Return what files of one sort that we write have in common, and others have not.

    The first bytes tell too little: letters and books are ZIP files as a bundle is, a song is a
    sound as a rehearsal is, and a coach has calendars, tables and pages from elsewhere.
    """
    with path.open("rb") as file:
        head = file.read(_HEAD).removeprefix(codecs.BOM_UTF8)  # a table has it or not
        start = max(0, file.seek(0, os.SEEK_END) - _TAIL)
        file.seek(start)
        tail = file.read()
    if head.startswith(b"PK"):
        return b"PK" + _last_of_zip(path)
    if head.startswith(b"RIFF"):
        return head[:4] + head[8:36]  # the size between them differs; rate and channels are ours
    if head.startswith(b"PAR1"):
        return head[:4] + (b"handbell export" if b"handbell export" in tail else b"")
    if head.startswith(b"%PDF"):
        return head[:4]
    if head.startswith(b"<"):
        return head[:_PAGE]
    lines = head.splitlines()
    if head.startswith(b"BEGIN:"):
        return b"\n".join(lines[:3])  # the third says which program wrote it
    return lines[0][:_LINE] if lines else b""


def _last_of_zip(path: Path) -> bytes:
    """Return the name of the last file in a ZIP file, nothing when it is damaged."""
    import zipfile  # loaded only here

    try:
        with zipfile.ZipFile(path) as archive:
            return "".join(archive.namelist()[-1:]).encode(errors="replace")
    except (zipfile.BadZipFile, ValueError, NotImplementedError):
        return b""
