"""Where the real MicroPython is."""

import shutil
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
# Where MicroPython finds what the core's tests need; of the host that is one file.
PLACES = [ROOT / "tests/core/both", ROOT / "firmware", ROOT / "host/handbell/compile"]


def micropython_path(*more: Path) -> str:
    """Return MICROPYPATH for the core's tests, ``more`` first."""
    return ":".join(map(str, [*more, *PLACES]))


def micropython_command() -> list[str] | None:
    """Return the command of the real MicroPython unix port, or None."""
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    return [found, "-X", "heapsize=236wk"] if found else None
