"""A firmware that only says who it is: small, so that putting it on a board takes little time.

It is a firmware as ``main.py`` and ``handbell prepare`` know one: the real core's frames, and a
box that answers ``hello`` with its version and gives up the prompt when asked to.
"""

from __future__ import annotations

import shutil
from pathlib import Path

from handbell_core import frames, journal, timeline

BEGIN = """\
import machine
import micropython
import select
import sys
import time
from box.answer import answer
from box.trial import Trial
from handbell_core.frames import FrameReader, encode

def main():
    micropython.kbd_intr(-1)
    reader = FrameReader()
    one = bytearray(1)
    poll = select.poll()
    poll.register(sys.stdin, select.POLLIN)
    trial = Trial()
    dog = machine.WDT(timeout=8000) if trial.pending else None
    try:
        while True:
            if dog:
                dog.feed()
            if trial.due_us(time.ticks_us()) == 0:
                trial.stand()
            if not poll.poll(100):
                continue
            sys.stdin.buffer.readinto(one)
            if one[0] == 3:
                return
            for message in reader.feed(bytes(one)):
                trial.heard(message["s"], message["do"])
                sys.stdout.buffer.write(encode(answer(message, trial.pending)))
                if message["do"] == "yield":
                    return
    finally:
        machine.mem32[0x40058000] &= ~(1 << 30)
        micropython.kbd_intr(3)
"""

ANSWER = """\
from box.trial import folder
from box.version import JOURNAL, LINK, TIMELINE, VERSION

def answer(message, pending):
    reply = {"q": message["q"], "s": message["s"]}
    if message["do"] == "hello":
        reply.update({"id": "5a11000000000001", "fw": VERSION, "board": "pico", "py": "", "station": 0,
            "label": "", "buttons": 1, "boot": 1, "ln": LINK, "tl": TIMELINE, "jn": JOURNAL,
            "folder": folder()})
        if pending:
            reply["trial"] = 1
    elif message["do"] != "yield":
        reply["no"] = 1
    return reply
"""

REAL = ("handbell_core/frames.py", "handbell_core/ticks.py", "box/loop.py", "box/trial.py")


def write_small(folder: Path, firmware: Path, version: str) -> Path:
    """Write a small firmware of that version, with ``main.py`` and the frames of a real one."""
    formats = "".join(
        f"{name} = {module.VERSION}\n"
        for name, module in (("LINK", frames), ("TIMELINE", timeline), ("JOURNAL", journal))
    )
    for path, text in {
        "begin.py": BEGIN,
        "box/__init__.py": "",
        "box/answer.py": ANSWER,
        "box/version.py": f"VERSION = {version!r}\n{formats}",
        "boards/__init__.py": "",
        "handbell_core/__init__.py": "",
    }.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text, encoding="utf-8")
    for path in ("main.py", *REAL):
        shutil.copy(firmware / path, folder / path)
    return folder
