"""``virtual``: boxes on this computer, shown live."""

from __future__ import annotations

import argparse
import os
import shlex
import sys
from dataclasses import dataclass
from pathlib import Path

from handbell.base.files import write_whole
from handbell.cli.output import Out


@dataclass(frozen=True)
class Ran:
    """Boxes that were on: where their flash is kept, and their addresses."""

    folder: Path
    ports: tuple[str, ...]


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument("count", nargs="?", type=int, default=2, help="how many boxes (default: 2)")
    parser.add_argument("--buttons", type=int, default=2, help="buttons on each (default: 2)")
    parser.add_argument("--clock-part", action="store_true", help="fit a clock part to each")
    parser.add_argument("--tcp", action="store_true", help="serve on TCP instead of a pty")
    parser.add_argument(
        "--speed", type=int, default=1, help="how fast time runs while no program has a port open"
    )
    parser.add_argument("--plain", action="store_true", help="print the addresses, draw nothing")
    parser.add_argument("--folder", type=Path, help="where the boxes' flash is kept")
    parser.epilog = (
        "examples:\n  handbell virtual 4\n  handbell virtual 2 --speed 10 --folder my-boxes\n\n"
        "It shows a line to type in another terminal, where every other command then finds the\n"
        "boxes. Their flash stays in the folder, so a box started again knows what it knew."
    )


def run(args: argparse.Namespace) -> Ran:
    """Start boxes and show them until they are left."""
    from handbell.virtual.terminal import run_terminal
    from handbell.work.trying.virtual_boxes import virtual_boxes

    boxes = virtual_boxes(
        args.count,
        args.buttons,
        args.folder,
        tcp=args.tcp,
        speed=args.speed,
        clock_part=args.clock_part,
    )
    with boxes as world:
        urls = [box.url for box in world.boxes]
        lines = (
            f"export HANDBELL_PORTS={shlex.quote(shlex.join(urls))}\n"
            f"export HANDBELL_CLOCK={shlex.quote(str(world.clock_path))}\n"
        )
        here = world.folder / "boxes.sh"
        write_whole(here, lines, private=True)
        hint = f"In another terminal:  . {shlex.quote(str(here))}"
        plain = args.plain or not os.isatty(1)
        if plain:  # else they would be on the screen that is put aside
            sys.stderr.write(lines)
        run_terminal(world, plain=plain, hint=hint)
    return Ran(world.folder, tuple(urls))


def text(result: Ran, out: Out) -> None:
    """Say where the flash is kept."""
    out.line(f"The boxes are off; their flash is kept in {result.folder}")
