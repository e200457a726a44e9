"""The command ``prepare``: firmware onto a box."""

from __future__ import annotations

import argparse
import functools
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.base.errors import HandbellError, UsageError
from handbell.cli.render import Result

if TYPE_CHECKING:
    from rich.console import Console

    from handbell.boxes.classes.stations import StationMap


def prepare_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``prepare``."""
    from handbell.boxes.firmware.prepare import NEW_BOARD

    parser.add_argument(
        "port", nargs="?", help="the board's serial port (default: the only board found on USB)"
    )
    parser.add_argument("--station", type=int, metavar="N", help="hang the box there")
    parser.add_argument("--label", metavar="TEXT", help="name its station")
    parser.add_argument(
        "--line-numbers",
        action="store_true",
        help="for developers: errors on the box name lines, which takes some of its memory",
    )
    parser.add_argument(
        "--image",
        metavar="FILE",
        help="put MicroPython with the firmware inside on the box, a .uf2 file made by make image",
    )
    parser.add_argument(
        "--drive",
        metavar="FOLDER",
        help="with --image: the folder of the drive RPI-RP2, where it is not found",
    )
    parser.add_argument(
        "--store", metavar="URL", help="with --image: where logs go (default: HANDBELL_STORE)"
    )
    parser.epilog = (
        "A box that rests is taken over, one in a class refuses. Cut off at any point the box\n"
        "starts with its old firmware or the new one; run the command again to finish.\n\n"
        f"{NEW_BOARD}.\n\n"
        "examples:\n  handbell prepare\n  handbell prepare /dev/ttyACM0\n"
        '  handbell prepare COM5 --station 3 --label "By the door"\n'
        "  handbell prepare --image handbell-0.1.0-pico.uf2"
    )


def prepare_run(args: argparse.Namespace) -> Result:
    """Put the firmware on a board, and say what the box then reports."""
    if args.image is not None:
        return _image_run(args)
    if args.drive is not None:
        raise UsageError("--drive goes with --image", "Name the image too")
    from handbell.boxes.classes.stations import StationMap
    from handbell.boxes.firmware.files import build_image
    from handbell.boxes.firmware.prepare import prepare
    from handbell.cli.progress import Lines
    from handbell.cli.render import console
    from handbell.cli.world import host_clock

    stations = StationMap()  # read first, so that a broken map is told before anything is done
    port = args.port or _only_port()
    clock = host_clock()
    with Lines(console(stderr=True)) as lines:
        build = functools.partial(build_image, lines=args.line_numbers)
        done = prepare(port, clock, lines, build=build)
    facts = dict(done.facts)
    facts.update(_hang(port, str(facts["id"]), stations, args.station, args.label))

    def text(out: Console) -> None:
        if done.nothing_to_do:
            out.print("The firmware was up to date.")
        else:
            out.print(f"Firmware renewed: {done.sent} files sent, {done.copied} copied on it.")
        _print_box(out, port, facts)

    data: dict[str, Any] = {key: facts[key] for key in facts if key not in ("q", "s")}
    data |= {"port": port, "sent": done.sent, "copied": done.copied}
    data["up_to_date"] = done.nothing_to_do
    return Result(data, text)


def _print_box(out: Console, port: str, facts: dict[str, Any]) -> None:
    station = f"station {facts['station']}" if facts["station"] else "a spare"
    label = f", {facts['label']}" if facts["label"] else ""
    out.print(
        f"Box {facts['id']} on {port}: {station}{label}; firmware {facts['fw']}, "
        f"board {facts['board']}, MicroPython {facts['py']}.",
        markup=False,
    )
    if "replaced" in facts:
        out.print(f"{facts['replaced']} is now a spare", markup=False)


def _image_run(args: argparse.Namespace) -> Result:
    """Put an image on a box, and say how to go back."""
    from handbell.boxes.classes.stations import StationMap
    from handbell.boxes.firmware.drives import find_drives
    from handbell.boxes.firmware.flashing import Means, flash
    from handbell.boxes.firmware.uf2 import read_image
    from handbell.cli.progress import Lines
    from handbell.cli.render import console
    from handbell.cli.world import host_clock
    from handbell.store import open_store

    image = read_image(Path(args.image))  # all that can be wrong here first
    stations = StationMap()
    drive = Path(args.drive) if args.drive else None
    in_boot_mode = args.port is None and (drive or find_drives())
    port = None if in_boot_mode else args.port or _only_port()
    err = console(stderr=True)
    means = Means(host_clock(), lambda words: err.print(words, markup=False), drive=drive)
    with open_store(args.store) as store, Lines(err) as lines:
        done = flash(port, image, store, means, lines)
    facts = dict(done.facts)
    facts.update(_hang(done.port, str(facts["id"]), stations, args.station, args.label))

    def text(out: Console) -> None:
        for line in done.words():
            out.print(line, markup=False, soft_wrap=True)
        _print_box(out, done.port, facts)

    data: dict[str, Any] = {key: facts[key] for key in facts if key not in ("q", "s")}
    data |= {"port": done.port, "image": done.name, "up_to_date": done.already}
    data |= {"before": done.before, "kept": str(done.kept or ""), "set_aside": done.set_aside}
    data["collected"] = done.collected
    return Result(data, text)


def _only_port() -> str:
    from handbell.boxes.link.find import find_ports

    ports = find_ports()
    if len(ports) == 1:
        return ports[0]
    if not ports:
        from handbell.boxes.firmware.prepare import NEW_BOARD

        raise HandbellError(
            "No board with MicroPython is plugged in", f"Plug one in, or name its port. {NEW_BOARD}"
        )
    raise HandbellError(
        f"{len(ports)} boards are plugged in: {', '.join(ports)}",
        "Name the port of the one to prepare",
    )


def _hang(
    port: str, box: str, stations: StationMap, number: int | None, label: str | None
) -> dict[str, Any]:
    """Hang the box at a station and tell it so; returns the station and label it now has.

    Without a number it stays where the map has it.
    """
    from handbell.boxes.classes.send import ascii_label
    from handbell.boxes.link.connection import Connection

    at = stations.number_of(box) if number is None else number
    if number is None and not at:
        if label is not None:
            raise HandbellError(
                f"The box {box} hangs at no station", "Give --station together with --label"
            )
        return {}
    replaced = None
    if number is not None or label is not None:
        replaced = stations.place(at, box, label)
        stations.save()
    told = ascii_label(stations.stations[at].label)
    with Connection(port) as connection:
        connection.request("name", station=at, label=told)
    return {"station": at, "label": told} | ({"replaced": replaced} if replaced else {})
