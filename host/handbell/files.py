"""Files of the coach's own folders: none of theirs is lost to one that a command writes."""

from __future__ import annotations

import secrets
from pathlib import Path

from handbell.errors import HandbellError

_BEGINNING = 4  # bytes that tell pages, sounds, pictures and tables from one another


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


def _beginning(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(_BEGINNING)
