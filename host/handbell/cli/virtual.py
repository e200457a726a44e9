"""The command that starts boxes on this computer."""

from __future__ import annotations

import argparse
import contextlib
import os
import shlex
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.errors import HandbellError, UsageError
from handbell.cli.render import Result

if TYPE_CHECKING:
    from rich.console import Console

MOST = 24


def virtual_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``virtual``."""
    parser.add_argument("count", nargs="?", type=int, default=2, help="how many boxes (default 2)")
    parser.add_argument("--buttons", type=int, default=2, help="buttons on each (1 to 4)")
    parser.add_argument("--tcp", action="store_true", help="serve on TCP instead of a pty")
    parser.add_argument(
        "--speed", type=int, default=1, help="how fast time runs while no program has a port open"
    )
    parser.add_argument("--plain", action="store_true", help="print the addresses, draw nothing")
    parser.add_argument("--folder", type=Path, help="where the boxes' flash is kept")
    parser.epilog = (
        "examples:\n  handbell virtual 4\n  handbell virtual 2 --speed 10 --folder my-boxes\n\n"
        "It prints two lines to set in another terminal, where every other command then finds the\n"
        "boxes. Their flash stays in the folder, so a box started again knows what it knew."
    )


def virtual_run(args: argparse.Namespace) -> Result:
    """Start boxes and show them until they are left."""
    from handbell.base.places import data_folder
    from handbell.virtual.box import BoxSpec
    from handbell.virtual.terminal import run_terminal
    from handbell.virtual.world import World

    if not 1 <= args.count <= MOST:
        raise UsageError(f"{args.count} boxes are too few or too many", f"Choose 1 to {MOST}")
    if not 1 <= args.buttons <= 4:
        raise UsageError(f"A box with {args.buttons} buttons can't be", "Choose 1 to 4")
    folder = args.folder or data_folder() / "virtual"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise HandbellError(
            f"{folder} can't be made ({error.strerror})", "Name another with --folder"
        ) from error
    with _only_one(folder), World(folder, speed=args.speed) as world:
        for n in range(1, args.count + 1):
            spec = BoxSpec(
                name=f"box{n}",
                unique_id=bytes([0xB0, 0, 0, 0, 0, 0, 0, n]),
                flash=folder / f"box{n}.flash",
                buttons=args.buttons,
                serve="tcp" if args.tcp else "pty",
                ppm=(7 * n) % 41 - 20,
            )
            world.add_box(spec)
        urls = [box.url for box in world.boxes]
        sys.stderr.write(
            f"export HANDBELL_PORTS={shlex.quote(shlex.join(urls))}\n"
            f"export HANDBELL_CLOCK={shlex.quote(str(world.clock_path))}\n"
        )
        run_terminal(world, plain=args.plain or not os.isatty(1))

    def text(out: Console) -> None:
        out.print("The boxes are off; their flash is kept in", str(folder), markup=False)

    return Result({"folder": str(folder), "ports": urls}, text)


@contextlib.contextmanager
def _only_one(folder: Path) -> Iterator[None]:
    """Hold the folder, so that two worlds don't share flash files and ports."""
    import fcntl  # virtual boxes need a POSIX system anyway

    with (folder / "lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise HandbellError(
                f"Virtual boxes of {folder} are running already",
                "Leave those first, or name another folder with --folder",
            ) from error
        yield
