"""The wheel in empty environments: python tests/wheel/run.py python3.10 python3.13.

For each Python the wheel is installed with all extras and with none, and what a coach tries first
is done there, outside of the checkout. Without an extra the commands that need one must say so in
one line that says what to install. Prints sizes; ends with 1 if anything was not as it should be.
Packages come from wherever pip finds them.
"""

from __future__ import annotations

import argparse
import os
import socket
import subprocess
import sys
import tempfile
import zipfile
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "host")]

from handbell.base.extras import EXTRAS  # noqa: E402

PLAN = ROOT / "docs" / "examples" / "three-block.toml"
LONGEST_S = 180
TRACE = "Traceback"


@dataclass
class Room:
    """One environment, and what was wrong in it; ``folder`` is where its commands run."""

    python: str
    extras: bool
    folder: Path
    wrong: list[str] = field(default_factory=list)
    done: int = 0
    version: str = ""
    mib: int = 0
    packages: int = 0

    @property
    def bin(self) -> Path:
        return self.folder / "env" / "bin"

    def make(self, wheel: Path) -> None:
        """Install the wheel; raises CalledProcessError."""
        wanted = f"{wheel}[{','.join(EXTRAS)}]" if self.extras else str(wheel)
        quiet = {"check": True, "stdout": subprocess.DEVNULL}
        subprocess.run([self.python, "-m", "venv", self.folder / "env"], **quiet)
        pip = [self.bin / "python", "-m", "pip"]
        before = self._size()
        subprocess.run([*pip, "install", "--quiet", "--only-binary", ":all:", wanted], **quiet)
        self.mib = round((self._size() - before) / 2**20)
        listed = subprocess.run([*pip, "list"], check=True, capture_output=True, text=True)
        self.packages = len(listed.stdout.splitlines()) - 2
        told = subprocess.run([self.bin / "python", "-V"], capture_output=True, text=True)
        self.version = told.stdout.split()[1]

    def _size(self) -> int:
        files = (self.folder / "env").rglob("*")
        return sum(path.stat().st_size for path in files if path.is_file())

    def do(self, *words: str) -> tuple[int, str]:
        """Run handbell; return its exit code and all that it printed."""
        names = ("PATH", "HOME", "LANG")
        own = {name: os.environ[name] for name in names if name in os.environ}
        own["HANDBELL_DATA"] = str(self.folder / "data")
        got = subprocess.run(
            [self.bin / "handbell", *words],
            cwd=self.folder,
            env=own,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            timeout=LONGEST_S,
        )
        return got.returncode, got.stdout

    def works(self, says: str, *words: str) -> None:
        """Run a command that must do what it should, and say so."""
        code, said = self.do(*words)
        self._judge(code == 0 and says in said and TRACE not in said, words, code, said)

    def lacks(self, extra: str, *words: str) -> None:
        """Run a command that must say in one line which packages are to be installed."""
        code, said = self.do(*words)
        lines = said.splitlines()
        named = all(package in said for package in EXTRAS[extra].packages)
        fine = code == 1 and len(lines) == 1 and ". Install it: pip install " in said and named
        self._judge(fine and "No module" not in said and TRACE not in said, words, code, said)

    def _judge(self, fine: bool, words: tuple[str, ...], code: int, said: str) -> None:
        self.done += 1
        if not fine:
            self.wrong.append(f"handbell {' '.join(words)}: exit code {code}\n{said[-1000:]}")


def whole(room: Room, store: Path) -> None:
    """Try what a coach tries first, with all extras; leaves a store at ``store``."""
    first_steps(room)
    room.works("Every press was counted", "demo", "--out", "demo")
    (room.folder / "demo" / "store.sqlite").rename(store)
    reports(room, store)
    room.works("pyarrow", "doctor")
    room.works("becomes 45:00", "fit", str(PLAN), "--minutes", "45", "--out", "fitted.toml")
    room.works("classes 1", "export", "tables", "--as", "parquet", "--store", str(store))


def bare(room: Room, store: Path) -> None:
    """Try the same without extras, on the store that the whole one left."""
    first_steps(room)
    reports(room, store)
    room.works("not installed; for virtual boxes", "doctor")
    room.lacks("virtual", "demo", "--out", "demo")
    room.lacks("virtual", "virtual", "2", "--plain")
    room.lacks("planning", "fit", str(PLAN), "--minutes", "45")
    room.lacks("export", "export", "tables", "--as", "parquet", "--store", str(store))
    room.lacks("server", "report", "--store", "postgresql://coach@localhost/club")
    with socket.create_server(("127.0.0.1", 0)) as silent:
        port = f"socket://127.0.0.1:{silent.getsockname()[1]}"
        room.lacks("boards", "measure", port)
        room.lacks("boards", "prepare", port)
    if (room.folder / "demo").exists():
        room.wrong.append("handbell demo made its folder though it could not begin")


def first_steps(room: Room) -> None:
    """Try what needs neither extras, boxes nor a store."""
    room.works("handbell 0.", "--version")
    room.works("usage: handbell COMMAND", "--help")
    room.works("the plan is in order", "check", str(PLAN))
    room.works("lead-in", "show", str(PLAN))
    room.works("Open the pages in any browser", "cards", str(PLAN), "--out", "cards")


def reports(room: Room, store: Path) -> None:
    """Report the demo's class in the terminal and as a page."""
    room.works("What is odd", "report", "--store", str(store))
    room.works("class.html", "report", "--store", str(store), "--html", "class.html")


def main(pythons: list[str]) -> int:
    """Build the wheel and try it with each Python; return 0 when all was as it should be."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        build = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps"]
        subprocess.run([*build, "--wheel-dir", folder, ROOT], check=True)
        (wheel,) = folder.glob("*.whl")
        with zipfile.ZipFile(wheel) as archive:
            inside = archive.infolist()
        size, unpacked = wheel.stat().st_size, sum(one.file_size for one in inside)
        print(f"wheel: {size / 2**20:.1f} MiB, {len(inside)} files, {unpacked / 2**20:.1f} MiB")
        wrong = []
        for n, python in enumerate(pythons):
            store = folder / f"store{n}.sqlite"
            for extras, tries in ((True, whole), (False, bare)):
                room = Room(python, extras, folder / f"{n}{'whole' if extras else 'bare'}")
                room.folder.mkdir()
                room.make(wheel)
                tries(room, store)
                print(
                    f"Python {room.version}, {'all' if extras else 'no'} extras: "
                    f"{room.packages} packages, {room.mib} MiB; "
                    f"{room.done - len(room.wrong)} of {room.done} commands as they should be",
                    flush=True,
                )
                wrong += [f"{room.version}: {one}" for one in room.wrong]
        print("\n".join(wrong))
    return bool(wrong)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pythons", nargs="*", default=[sys.executable], metavar="PYTHON")
    sys.exit(main(parser.parse_args().pythons))
