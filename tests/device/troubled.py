"""The firmware with something that fails in it, put in by a few lines of MicroPython."""

from __future__ import annotations

import shutil
import textwrap
from pathlib import Path

from handbell.virtual.spec import firmware_root


def troubled(folder: Path, trouble: str) -> Path:
    """Return a copy of the firmware whose start runs ``trouble`` before it makes the box."""
    copy = folder / "troubled"
    shutil.copytree(firmware_root(), copy, ignore=shutil.ignore_patterns("__pycache__"))
    begin = copy / "begin.py"
    begin.write_text(begin.read_text(encoding="utf-8") + textwrap.dedent(trouble), encoding="utf-8")
    return copy
