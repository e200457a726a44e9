"""The firmware with its constants put in, for tests that take names from it."""

import re
from pathlib import Path

from handbell.boxes.firmware.files import firmware_root, inlined


def inlined_tree(folder: Path, *tests: Path) -> Path:
    """Write the firmware there as a board gets it, but for names that tests ask for."""
    words: set[str] = set()
    for test in tests:
        for file in test.rglob("*.py"):
            words.update(re.findall(r"\w+", file.read_text(encoding="utf-8")))
    main = {"main.py": (firmware_root() / "main.py").read_bytes()}
    for path, source in {**inlined(keep=words), **main}.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(source)
    return folder
