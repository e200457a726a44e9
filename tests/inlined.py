"""The firmware as a board gets it: constants put in, short names, but for those tests take."""

import contextlib
import importlib
import io
import re
import sys
from pathlib import Path

import pytest

from handbell.boxes.firmware.files import firmware_root, shortened


def inlined_tree(folder: Path, *tests: Path) -> Path:
    """Write the firmware there as a board gets it, but for names that tests ask for."""
    words: set[str] = set()
    for test in tests:
        for file in test.rglob("*.py"):
            words.update(re.findall(r"\w+", file.read_text(encoding="utf-8")))
    main = {"main.py": (firmware_root() / "main.py").read_bytes()}
    for path, source in {**shortened(keep=words), **main}.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(source)
    return folder


def said(tmp_path, files, name):
    """Run a program of some files, by its ``main.py``, and return what it prints."""
    folder = tmp_path / name
    for path, text in files.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(text if isinstance(text, bytes) else text.encode())
    tops = {path.split("/")[0].removesuffix(".py") for path in files}

    def take_out():
        ours = [name for name in sys.modules if name.split(".")[0] in tops]
        return {name: sys.modules.pop(name) for name in ours}

    out, before = io.StringIO(), take_out()
    with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stdout(out):
        patch.setattr(sys, "path", [str(folder), *sys.path])
        patch.setattr(sys, "dont_write_bytecode", True)
        importlib.invalidate_caches()
        try:
            importlib.import_module("main")
        finally:
            take_out()
            sys.modules.update(before)
    return out.getvalue()
