"""The command ``handbell``, waiting longer for a box: an emulated chip is slower than a real one.

Only the waits at MicroPython's prompt are stretched; those for a box's answer go by
HANDBELL_CLOCK. With ``--firmware`` another folder's firmware is put on.
"""

from __future__ import annotations

import functools
import sys
from pathlib import Path

from handbell.boxes.firmware import files as firmware
from handbell.boxes.firmware import prompt
from handbell.cli.main import main

SLOWER = 20  # busy code on the emulated chip, at most


def patiently(arguments: list[str]) -> int:
    """Run ``handbell`` with these arguments and return its exit code."""
    for name in ("SILENT_S", "ENTER_S", "RUN_S", "STEP_S"):
        setattr(prompt, name, getattr(prompt, name) * SLOWER)
    if arguments[0] == "--firmware":
        firmware.build_image = functools.partial(firmware.build_image, root=Path(arguments[1]))
        arguments = arguments[2:]
    return main(arguments)


if __name__ == "__main__":
    sys.exit(patiently(sys.argv[1:]))
