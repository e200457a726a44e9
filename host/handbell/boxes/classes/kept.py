"""The small files in the data folder: how they are written, and what a damaged one may raise."""

from __future__ import annotations

import json
from pathlib import Path

from handbell.base.files import write_whole
from handbell.base.places import DATA

# What a damaged file may raise while it is read: none of it says more than that it is damaged.
UNSOUND = (ValueError, KeyError, TypeError, AttributeError, RecursionError, OSError)


def keep(path: Path, value: object) -> None:
    """Write a small file as JSON; raises HandbellError with what helps."""
    text = json.dumps(value, indent=1, ensure_ascii=False)
    write_whole(path, text, f"Free the folder, or name another with {DATA}", private=True)
