"""Writing a file whole or not at all."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from handbell.errors import HandbellError, UsageError
from handbell.files import beside, replace_like


def require_apart(plan: Path, *outputs: Path | None) -> None:
    """Raise UsageError when files to write would take the place of the plan or of one another."""
    taken = {plan.resolve()}
    for path in filter(None, outputs):
        if path.resolve() in taken:
            raise UsageError(
                f"{path} would be written over",
                "Give every file a name of its own, and not the plan's",
            )
        taken.add(path.resolve())


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
