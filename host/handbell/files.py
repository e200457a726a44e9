"""Files of the coach's own folders: none of theirs is lost to one that a command writes."""

from __future__ import annotations

import codecs
import contextlib
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from handbell.errors import HandbellError

_BEGINNING = 4  # bytes that tell pages, sounds, pictures, tables and plans from one another


def beside(path: Path) -> Path:
    """Return a new name in the same folder, to write a file under until it is whole."""
    return path.with_name(f".{path.name}.{secrets.token_hex(4)}")


def replace_like(fresh: Path, path: Path) -> None:
    """Let ``fresh`` take the place of ``path``; raises HandbellError for a file of another sort.

    So a page or a sound renews the last one of its name, and never a plan. Raises OSError too.
    """
    if path.exists() and path.stat().st_size and _beginning(path) != _beginning(fresh):
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


def _beginning(path: Path) -> bytes:
    """Return a file's first bytes; a table is the same with a byte order mark and without."""
    with path.open("rb") as file:
        read = file.read(len(codecs.BOM_UTF8) + _BEGINNING)
    return read.removeprefix(codecs.BOM_UTF8)[:_BEGINNING]
