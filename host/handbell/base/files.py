"""Files of the coach's own folders: none of theirs is lost to one that a command writes."""

from __future__ import annotations

import codecs
import contextlib
import os
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from .errors import HandbellError

_HEAD, _TAIL = 256, 1 << 16  # bytes that are read of a file to tell its sort
_PAGE, _LINE = 160, 40  # bytes that all our pages, and all tables or lists of a sort, begin with


def beside(path: Path) -> Path:
    """Return a new name in the same folder, to write a file under until it is whole."""
    return path.with_name(f".{path.name}.{secrets.token_hex(4)}")


def replace_like(fresh: Path, path: Path) -> None:
    """Let ``fresh`` take the place of ``path``; raises HandbellError for a file of another sort.

    So a page or a sound renews the last one of its name, and never a plan. Raises OSError too.
    """
    if path.exists() and path.stat().st_size and _sort(path) != _sort(fresh):
        raise HandbellError(
            f"{path} is there already and holds something else", "Name another file"
        )
    fresh.replace(path)


@contextlib.contextmanager
def fresh_file(path: Path) -> Iterator[BinaryIO]:
    """Give a file to write that takes the place of ``path`` once it is whole.

    Raises HandbellError when it can't be written or would replace a file of another sort; what
    was there stays then.
    """
    if path.is_dir():
        raise HandbellError(f"{path} is a folder", "Name a file in it")
    part = beside(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with part.open("wb") as file:
            yield file
        replace_like(part, path)
    except OSError as error:
        raise HandbellError(
            f"{path} can't be written: {error.strerror or error}", "Give another place"
        ) from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


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
