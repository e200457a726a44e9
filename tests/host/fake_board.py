"""A board for tests of ``prepare``: a folder as its flash, real MicroPython behind its prompt.

Each thing asked of it is one operation; it can be cut off before, in the middle of, or after any.
"""

import shutil
import subprocess
from pathlib import Path

from handbell.boxes.firmware import onboard
from handbell.boxes.firmware.prompt import broke_off, refused

STUB = """
import sys
class WDT:
    def __init__(self, timeout):
        open("watched", "w").close()
def reset():
    sys.exit(77)
"""
RESTARTS, AGAIN = 77, 5  # a board that starts itself anew ends with that code; so often at most
PICO = "Raspberry Pi Pico with RP2040"
BEFORE, TORN, AFTER = "before", "torn", "after"


class FakeBoard:
    """Its flash; ``facts`` are what it says of itself: (name, version, machine, .mpy version)."""

    def __init__(self, folder: Path, micropython: list[str]) -> None:
        self.flash = folder
        self.flash.mkdir(parents=True, exist_ok=True)
        self.micropython = micropython
        self.facts = ("micropython", (1, 28, 0), PICO, 6)
        self.wears_out = ""  # a path whose bytes never arrive whole
        self.operations = 0
        self.writes: list[int] = []  # the operations that were writes
        self.restarts = 0
        self.log: list[tuple] = []
        self.said = ""  # when it started last
        self.stub = folder.parent / "stub"  # what the chip has and the desktop lacks
        self.stub.mkdir(exist_ok=True)
        (self.stub / "machine.py").write_text(STUB)

    def prompt(self, cut_at: int = -1, tear: str = BEFORE) -> "FakePrompt":
        """Open its prompt, which answers until operation ``cut_at``."""
        return FakePrompt(self, cut_at, tear)

    def execute(self, code: str) -> subprocess.CompletedProcess:
        return subprocess.run(
            [*self.micropython, "-c", code],
            cwd=self.flash,
            env={"MICROPYPATH": f":{self.stub}"},
            capture_output=True,
            text=True,
            check=False,
            timeout=20,
        )

    def start(self) -> str:
        """Start main.py as at power-up and return what it printed, over all its restarts."""
        if not (self.flash / "main.py").exists():
            return "prompt"
        said = ""
        for _ in range(AGAIN):
            done = subprocess.run(
                [*self.micropython, "main.py"],
                cwd=self.flash,
                env={"MICROPYPATH": f":{self.stub}"},
                capture_output=True,
                text=True,
                check=False,
                timeout=20,
            )
            assert not done.stderr, done.stderr
            said += done.stdout
            if done.returncode != RESTARTS:
                return said.strip()
        return "starts again and again"

    def files(self) -> dict[str, bytes]:
        places = sorted(place for place in self.flash.rglob("*") if place.is_file())
        places = [place for place in places if place.name != "watched"]
        return {p.relative_to(self.flash).as_posix(): p.read_bytes() for p in places}

    def copy(self, folder: Path) -> "FakeBoard":
        """Return a board with the same flash."""
        shutil.copytree(self.flash, folder)
        return FakeBoard(folder, self.micropython)


class FakePrompt:
    """The prompt of a fake board, as ``handbell.boxes.firmware.prompt`` defines one."""

    def __init__(self, board: FakeBoard, cut_at: int, tear: str) -> None:
        self._board = board
        self._cut_at, self._tear = cut_at, tear
        self.is_open = True
        board.operations = 0
        board.writes = []

    def _operate(self, whole, torn=lambda: None):
        number = self._board.operations
        self._board.operations += 1
        if number != self._cut_at:
            return whole()
        if self._tear == TORN:
            torn()
        elif self._tear == AFTER:
            whole()
        raise broke_off("the port")

    def run(self, code: str) -> str:
        return self._operate(lambda: self._run(code))

    def _run(self, code: str) -> str:
        if code == onboard.SURVEY:
            local = (self._board.flash / "board_local.py").exists()
            return repr((*self._board.facts, local)) + "\n"
        self._board.log.append(("run", code))
        done = self._board.execute(code)
        if done.returncode:
            raise refused("the port", done.stdout + done.stderr)
        return done.stdout

    def write(self, path: str, data: bytes) -> None:
        place = self._board.flash / path
        self._board.log.append(("write", path, data))
        if path == self._board.wears_out:
            data = data[:-1] + bytes([data[-1] ^ 1])
        self._board.writes.append(self._board.operations)
        self._operate(
            lambda: place.write_bytes(data), lambda: place.write_bytes(data[: len(data) // 2])
        )

    def restart(self) -> None:
        self._operate(lambda: None)
        self._board.restarts += 1
        self._board.said = self._board.start()
        self.close()

    def close(self) -> None:
        self.is_open = False
