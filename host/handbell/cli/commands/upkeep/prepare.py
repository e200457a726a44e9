"""``prepare``: the firmware onto a box."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.errors import UsageError
from handbell.base.words import several
from handbell.cli import progress, shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.upkeep.prepare import BoxReady, ImagePut, Prepared


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    from handbell.boxes.firmware.new_board import NEW_BOARD

    parser.add_argument(
        "port",
        metavar="PORT",
        nargs="?",
        help="the board's serial port (default: the only board found on USB)",
    )
    parser.add_argument("--station", type=int, metavar="N", help="hang the box there")
    parser.add_argument("--label", metavar="TEXT", help="name its station")
    parser.add_argument(
        "--buttons",
        type=int,
        choices=range(1, 5),
        help="how many are fitted; send refuses a plan that needs more",
    )
    parser.add_argument(
        "--remote",
        action="store_true",
        help="make it a remote, which leads classes; with --station it is a box again",
    )
    parser.add_argument(
        "--line-numbers",
        action="store_true",
        help="for developers: errors on the box name lines, which takes some of its memory",
    )
    parser.add_argument(
        "--image",
        type=Path,
        metavar="FILE",
        help="put MicroPython with the firmware inside on the box, a .uf2 file made by make image",
    )
    parser.add_argument(
        "--drive",
        type=Path,
        metavar="FOLDER",
        help="with --image: the folder of the drive RPI-RP2, where it is not found",
    )
    shared.store_argument(parser)
    parser.epilog = (
        "An idle box is taken over, one in a class refuses. Cut off at any point the box\n"
        "starts with its old firmware or the new one; run the command again to finish.\n"
        "With --image its logs are brought into the store first.\n\n"
        f"{NEW_BOARD}.\n\n"
        "examples:\n  handbell prepare\n  handbell prepare /dev/ttyACM0\n"
        '  handbell prepare COM5 --station 3 --label "By the door"\n'
        "  handbell prepare --image handbell-0.1.0-pico.uf2"
    )


def run(args: argparse.Namespace) -> Prepared | ImagePut:
    """Call the operation."""
    from handbell.work.upkeep.prepare import prepare, put_image

    hang = (args.port, args.station, args.label, args.buttons)
    if args.remote and (args.station is not None or args.label is not None):
        raise UsageError("A remote hangs at no station", "Leave out --station and --label")
    if args.image is None and args.drive is not None:
        raise UsageError("--drive goes with --image", "Name the image too")
    with progress.lines() as lines:
        if args.image is None:
            return prepare(*hang, args.line_numbers, lines, args.remote)
        tell = Out(sys.stderr).line
        return put_image(args.image, tell, *hang, args.drive, args.store, lines, args.remote)


def text(result: Prepared | ImagePut, out: Out) -> None:
    """Print what was done, and what the box says of itself."""
    from handbell.work.upkeep.prepare import ImagePut

    if isinstance(result, ImagePut):
        out.lines(result.words)
    elif result.up_to_date:
        out.line("The firmware was up to date.")
    else:
        out.line(f"Firmware renewed: {result.sent} files sent, {result.copied} copied on it.")
    _box(result.box, out)


def _box(box: BoxReady, out: Out) -> None:
    station = f"station {box.station}" if box.station else "a spare"
    label = f", {box.label}" if box.label else ""
    if box.remote:
        station, label = "a remote", ""
    buttons = several(box.buttons, "button")
    out.line(
        f"Box {box.id} on {box.port}: {station}{label}; firmware {box.firmware}, "
        f"board {box.board}, MicroPython {box.micropython}, {buttons}."
    )
    if box.spare:
        out.line(f"{box.spare} is now a spare")
