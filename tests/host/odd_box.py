"""Boxes that answer oddly, beside a sound one, against every command that talks to boxes.

    .venv/bin/python tests/host/odd_box.py --replies 2000 --seed 1
    .venv/bin/python tests/host/odd_box.py --noises

No command may fail by a fault of its own or hang, show a sign that a terminal obeys, or leave the
sound box without what it was asked for.
"""

from __future__ import annotations

import argparse
import contextlib
import faulthandler
import io
import os
import random
import socket
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from unittest import mock

if __name__ == "__main__":
    root = Path(__file__).parents[2]
    sys.path[:0] = [str(root / "tests" / "host"), str(root / "host"), str(root / "firmware")]

from lying_box import LyingBox, Message, digest
from noises import BABBLES, NOISES, REPLY_S

from handbell.boxes.link import connection as link
from handbell.cli import main as cli
from handbell.cli import unexpected
from handbell_core import frames

LONGEST_S = 30.0
CALIBRATE_S = 420.0  # it is asked for six minutes, of which only what it sleeps goes by at once
PLAN = """
title = "Pair"
boxes = 2
[[block]]
  [[block.exercise]]
  name = "Squat"
  work_s = 20
"""
LOG = b"no journal" * 40
ODD = (
    *("../../x-", "/tmp/x-", "a\x00b", "", "\x1b[2J\x1b]0;x\x07", "[/b]", "x" * 200, "0" * 24),
    *("\u202e", "\ud800", "1", "-1", "e66164084b0000b2", "00001.hbj", "fw_a", "set", "play"),
    *(10**30, -(10**30), 2**63, 2**53, 2**31, 2**24, 4096, 256, 99, 2, 1, 0, -1, -2, 1.5, -0.0),
    *(float("inf"), float("nan"), None, True, False, [], [1], ["x"] * 9, {}, {"a": 1}, [[[[1]]]]),
)
FIELDS = {
    "hello": (
        *("id", "fw", "ln", "tl", "jn", "station", "label", "buttons", "boot", "board", "py"),
        *("folder", "trial"),
    ),
    "status": (
        *("state", "sel", "mv", "usb", "low", "kb", "runs", "fault", "clock", "bound_us"),
        *("rtc", "age_s", "utc_ms", "erred"),
    ),
    "time": ("t2", "t3"),
    "clock": ("ppb", "ppb_bound", "rate_utc_us"),
    "put": ("at",),
    "list": ("n", "name", "size", "d", "open", "bad"),
    "get": ("b",),
    "drop": ("gone",),
    "arm": ("utc_ms",),
    "test": (
        *("answers", "lamps", "closed", "pressed", "mv", "same", "us", "fitted", "stopped"),
        *("usb", "silent"),
    ),
    **dict.fromkeys(("name", "ring", "keep", "select", "disarm", "yield"), ("x",)),
}
# command -> the requests that it makes
ASKS = {
    "boxes": ("hello", "status"),
    "boxes --calibrate 6": ("hello", "time", "clock"),
    "boxes --self-test": ("hello", "test", "time"),
    "stations --number": ("hello", "name"),
    "identify": ("hello", "ring"),
    "send PLAN": ("hello", "status", "name", "put", "keep", "select", "time", "clock", "list"),
    "arm --in 5m": ("hello", "status", "time", "clock", "get", "arm", "disarm"),
    "arm --cancel": ("hello", "status", "disarm"),
    "collect": ("hello", "time", "list", "get", "drop"),
    "prepare PORT": ("hello", "status", "yield", "list"),
    "measure PORT": ("hello", "status", "yield"),
}


NO_SENDING = ("No box is plugged in for", "another program")  # all or none, said by name


class Clock:
    """A computer's clock on which nobody waits: what is slept has gone by at once."""

    def __init__(self) -> None:
        self.slept_us = 0

    def utc_us(self) -> int:
        return time.time_ns() // 1000 + self.slept_us

    def mono_us(self) -> int:
        return time.monotonic_ns() // 1000 + self.slept_us

    def sleep(self, seconds: float) -> None:
        self.slept_us += round(seconds * 1e6)


class OddBox(LyingBox):
    """A box whose clock is the computer's, and whose lines may go wrong on the wire."""

    def __init__(self, clock: Clock, box_id: str, station: int) -> None:
        self.clock, self.wire, self.heard = clock, None, 0
        self.babble = b""  # what it says without end and without being asked
        super().__init__(box_id, station)
        self.files["runs"]["00001.hbj"] = LOG

    def _time(self, message: Message) -> Message:
        now_us = self.clock.mono_us() - 1_000_000
        return {"t2": now_us, "t3": now_us}

    def _name(self, message: Message) -> Message:
        self.hello |= {"station": message["station"], "label": message["label"]}
        return {}

    def _talk(self, host: socket.socket) -> None:
        reader = frames.FrameReader()
        with host, contextlib.suppress(OSError):
            while self.babble:
                host.sendall(self.babble)
            while data := host.recv(4096):
                for message in reader.feed(data):
                    self.asked.append(message)
                    line = frames.encode(self._reply(message))
                    self.heard += 1
                    if self.wire is None:
                        host.sendall(line)
                    elif not self.wire(host, message, line, self.heard):
                        return


@dataclass
class Lab:
    """An odd box at station 1 and a sound one at station 2, and a folder for the host."""

    folder: Path
    clock: Clock = field(default_factory=Clock)
    faults: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.plan = self.folder / "pair.toml"
        self.plan.write_text(PLAN, encoding="utf-8")
        self.odd = OddBox(self.clock, "e66164084b0000a1", 1)
        self.sound = OddBox(self.clock, "e66164084b0000b2", 2)

    def close(self) -> None:
        self.odd.__exit__()
        self.sound.__exit__()

    def do(self, command: str) -> tuple[int, str]:
        """Run a command; return its exit code and all that it printed."""
        words = [{"PLAN": str(self.plan), "PORT": self.odd.url}.get(w, w) for w in command.split()]
        if "PORT" not in command:
            words += ["--port", self.odd.url, "--port", self.sound.url]
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = cli.main(words)
        return code, out.getvalue() + err.getvalue()

    def reset(self, command: str) -> None:
        """Make both boxes, and the map, as a command expects them."""
        (self.folder / "data" / "stations.json").unlink(missing_ok=True)
        for n, box in enumerate((self.odd, self.sound), 1):
            box.lies.clear()
            box.wire, box.part, box.start_utc_ms, box.babble = None, b"", None, b""
            box.hello |= {"station": n, "label": ""}
            box.files["runs"]["00001.hbj"] = LOG
            box.files["timelines"].clear()
        before = {"arm --in 5m": ["send PLAN"], "arm --cancel": ["send PLAN", "arm --in 5m"]}
        for first in before.get(command, ()):
            with mock.patch.object(link, "REPLY_S", 2.0):
                code, said = self.do(first)
            assert code == 0, said
        self.odd.heard = 0
        self.odd.asked.clear()
        self.sound.asked.clear()

    def attack(self, command: str, what: str) -> None:
        """Run a command against the odd box as it is now, and note all that is wrong."""
        began_s = time.monotonic()
        own: list[str] = []
        told = unexpected.told

        def noted(error: Exception, debug: bool):
            own.append(f"{error!r} {unexpected._places(error.__traceback__)[-3:]}")
            return told(error, debug)

        longest_s = CALIBRATE_S if "--calibrate" in command else LONGEST_S
        faulthandler.dump_traceback_later(4 * longest_s, exit=True)  # a hang shows where it is
        with mock.patch.object(unexpected, "told", noted):
            code, said = self.do(command)
        faulthandler.cancel_dump_traceback_later()
        took_s = time.monotonic() - began_s
        wrong = list(own)
        if code not in (0, 1, 2):
            wrong.append(f"exit code {code}")
        if took_s > longest_s:
            wrong.append(f"took {took_s:.0f} s")
        if any(sign in said for sign in "\x1b\x07\x00\u202e") or "Traceback" in said:
            wrong.append("raw signs or a traceback")
        wrong += [f"wrote {path}" for path in self.folder.rglob("*") if not self._may_be(path)]
        wrong += self._unserved(command, said)
        self.faults += [f"{command}, {what}: {why}" for why in wrong]

    def _may_be(self, path: Path) -> bool:
        """Whether a file is one that the host keeps, or one of the odd box's half-fetched logs."""
        known = ("pair.toml", "data", "stations.json", "class.json", "starts.json", "partial")
        known += ("state", "handbell.log", "hall.toml")
        return path.name in known or path.name.startswith(("store.sqlite", self.odd.hello["id"]))

    def _unserved(self, command: str, said: str) -> list[str]:
        """Return what the sound box was not given though it was asked for.

        A box that claims the sound one's id may cost it its part, in so many words: nobody can tell
        which of the two is right.
        """
        if "has the same id as" in said:
            return []
        asked = [message["do"] for message in self.sound.asked]
        held = digest(next(iter(self.sound.files["timelines"].values()), b""))
        served = {
            "boxes": "status" in asked,
            "stations --number": "name" in asked,
            "identify": "ring" in asked,
            "arm --cancel": self.sound.start_utc_ms is None,
            "collect": not self.sound.files["runs"],
            "send PLAN": held == self.sound.selected or any(why in said for why in NO_SENDING),
            "arm --in 5m": (self.sound.start_utc_ms is None) == ("starts at" not in said),
            "boxes --self-test": "test" in asked,
            "boxes --calibrate 6": "clock" in asked,
        }
        return [] if served.get(command, True) else [f"the sound box was not served: {said}"]


@contextlib.contextmanager
def lab() -> Iterator[Lab]:
    """Give a lab in a folder of its own, where nobody waits."""
    from serial.urlhandler import protocol_socket

    from handbell.boxes.firmware import prompt
    from handbell.boxes.link import find
    from handbell.cli.commands.upkeep import boxes
    from handbell.work.upkeep import plugged_in

    with tempfile.TemporaryDirectory() as folder, contextlib.ExitStack() as stack:
        made = Lab(Path(folder))
        stack.callback(made.close)
        own = {
            "HANDBELL_DATA": str(Path(folder) / "data"),
            "HANDBELL_STORE": "",
            "HANDBELL_PORTS": "",
        }
        stack.enter_context(mock.patch.dict(os.environ, own))
        stack.enter_context(mock.patch.object(plugged_in, "SystemClock", lambda: made.clock))
        stack.enter_context(mock.patch.object(link, "REPLY_S", REPLY_S))
        stack.enter_context(mock.patch.object(link, "PATIENCE_S", 3.0))
        stack.enter_context(mock.patch.object(prompt, "ENTER_S", 0.2))
        stack.enter_context(mock.patch.object(prompt, "STEP_S", 0.5))
        stack.enter_context(mock.patch.object(find.list_ports, "comports", lambda: []))
        pause = mock.Mock(sleep=lambda _: None)
        stack.enter_context(mock.patch.object(protocol_socket, "time", pause))
        stack.enter_context(mock.patch.object(boxes, "_ask", lambda question: ""))
        yield made


def lie(rng: random.Random, lab: Lab, command: str) -> str:
    """Let the odd box lie in one reply, or from then on; return what was done."""
    do = rng.choice(ASKS[command])
    key = rng.choice(FIELDS[do])
    value, nth, always = rng.choice(ODD), rng.choice((1, 1, 1, 2, 3, 9)), rng.random() < 0.6
    missing, refusal = rng.random() < 0.08, rng.random() < 0.08
    seen = 0

    def lied(_: Message, honest: Message) -> Message:
        nonlocal seen
        seen += 1
        if seen < nth or (seen > nth and not always):
            return honest
        if refusal:
            return {"no": value}
        return {k: v for k, v in honest.items() if k != key} | ({} if missing else {key: value})

    lab.odd.lies[do] = lied
    how = "missing" if missing else "no" if refusal else repr(value)
    return f"{do}.{key} {how} from reply {nth}{' on' if always else ''}"


def odd_replies(count: int, seed: int) -> list[str]:
    """Give so many odd replies over all commands; return what went wrong."""
    rng = random.Random(seed)
    with lab() as made:
        for n in range(count):
            command = rng.choice([*ASKS])
            made.reset(command)
            made.attack(command, f"{n} of seed {seed}, {lie(rng, made, command)}")
        return made.faults


def noises(names: list[str] | None = None, commands: list[str] | None = None) -> list[str]:
    """Make every noise against every command; return what went wrong."""
    with lab() as made:
        for name in names or [*NOISES, *BABBLES]:
            for command in commands or ASKS:
                made.reset(command)
                made.odd.wire, made.odd.babble = NOISES.get(name), BABBLES.get(name, b"")
                made.attack(command, name)
        return made.faults


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--replies", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--noises", action="store_true")
    args = parser.parse_args()
    found = odd_replies(args.replies, args.seed) if args.replies else []
    found += noises() if args.noises else []
    sys.stdout.write("\n".join([*found, f"{len(found)} faults\n"]))
    sys.exit(bool(found))
