"""Where the real MicroPython is."""

import shutil
import sys
from pathlib import Path


def micropython_command() -> list[str] | None:
    """Return the command of the real MicroPython unix port, or None."""
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    return [found, "-X", "heapsize=236wk"] if found else None
