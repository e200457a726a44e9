"""The firmware with something that fails in it, put in by a few lines of MicroPython, at play."""

from __future__ import annotations

import shutil
import textwrap
from pathlib import Path

from handbell.virtual.spec import firmware_root
from made import lead_in, rest, window
from rig import Rig, timeline

BELLS_S = (5, 25, 35, 55)  # go, rest, go, close


def troubled(folder: Path, trouble: str) -> Path:
    """Return a copy of the firmware whose start runs ``trouble`` before it makes the box."""
    copy = folder / "troubled"
    shutil.copytree(firmware_root(), copy, ignore=shutil.ignore_patterns("__pycache__"))
    begin = copy / "begin.py"
    begin.write_text(begin.read_text(encoding="utf-8") + textwrap.dedent(trouble), encoding="utf-8")
    return copy


def two_windows():
    return [lead_in(5_000), window(20_000), rest(10_000), window(20_000)]


def play(tmp_path, trouble, taps=(6, 7, 8, 40, 41), **spec):
    """Play a class on a box with ``trouble``; return its rig, still open, and its start."""
    data = timeline(two_windows)
    rig = Rig(tmp_path, firmware=troubled(tmp_path, trouble), **spec)
    rig.send([data])
    start = rig.arm([data])
    for at in taps:
        rig.box.press(0, start + int(at * 1e6))
    rig.world.run_to(start + 120_000_000)
    return rig, start


def assert_rang(rig, start, within_us=5_000):
    bells = [bell - start for bell in rig.box.sound.bells() if bell > start]
    for due_s in BELLS_S:
        assert min(abs(bell - due_s * 1_000_000) for bell in bells) <= within_us, due_s
