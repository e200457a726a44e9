"""The commands about the boxes themselves: boxes, identify, stations."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from handbell.base.errors import HandbellError, UsageError
from handbell.cli.render import Result

if TYPE_CHECKING:
    from rich.console import Console

    from handbell.boxes.link.connection import Connection
    from handbell.boxes.link.fleet import Fleet


def port_argument(parser: argparse.ArgumentParser) -> None:
    """Add --port, which every command that talks to boxes has."""
    parser.add_argument(
        "--port",
        action="append",
        metavar="ADDRESS",
        help="a serial port or socket://HOST:PORT; may be given several times "
        "(default: HANDBELL_PORTS, else every board found on USB)",
    )


def open_fleet(args: argparse.Namespace) -> Fleet:
    """Open every box; raises HandbellError when there is none."""
    from handbell.boxes.link.fleet import Fleet
    from handbell.cli.world import host_clock

    return Fleet(args.port, host_clock())


def strangers(fleet: Fleet) -> list[dict[str, str]]:
    """Return the ports where no box answered, with the reason."""
    return [{"port": s.url, "why": str(s.error)} for s in fleet.strangers]


def print_strangers(fleet_strangers: list[dict[str, str]], out: Console) -> None:
    """Print the ports where no box answered."""
    for stranger in fleet_strangers:
        port, why = stranger["port"], stranger["why"]
        out.print(why if why.startswith(f"{port}: ") else f"{port}: {why}", markup=False)


def boxes_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``boxes``."""
    parser.add_argument(
        "--calibrate",
        type=int,
        metavar="MINUTES",
        help="watch the clocks so long, learn the rate of each crystal and give it to its box",
    )
    parser.add_argument(
        "--self-test",
        action="store_true",
        help="work each part of each box that rests, and name the part that fails",
    )
    parser.add_argument(
        "--buttons",
        type=int,
        choices=range(1, 5),
        default=1,
        help="buttons fitted, for --self-test",
    )
    port_argument(parser)
    parser.add_argument("--store", metavar="URL", help="the store (default: HANDBELL_STORE)")
    parser.epilog = (
        "examples:\n  handbell boxes\n  handbell boxes --port socket://127.0.0.1:5000\n"
        "  handbell boxes --calibrate 30\n  handbell boxes --self-test --buttons 2\n\n"
        "Crystals differ: uncalibrated boxes may part by 20 ms within six minutes. Calibrate once\n"
        "a month, with the boxes as warm as in class. Ctrl-C ends it early; what is known is kept."
    )


def boxes_run(args: argparse.Namespace) -> Result:
    """List boxes with health and readiness, or calibrate them, or test their parts."""
    if args.calibrate is not None:
        from handbell.cli.calibration import calibrate_run

        return calibrate_run(args)
    if args.self_test:
        from handbell.cli.selftest import self_test_run

        return self_test_run(args)
    from handbell.boxes.link.words import erred_words, fault_words, state_words

    with open_fleet(args) as fleet:
        outcomes = fleet.each(_status)
        rows: list[dict[str, Any]] = []
        for o in outcomes:
            row = {"port": o.url, "box": o.label, **o.facts, **(o.value or {})}
            if o.error is not None:
                row["why"] = str(o.error)
            rows.append(row)
        others = strangers(fleet)

    def text(out: Console) -> None:
        from rich.table import Table
        from rich.text import Text

        table = Table(box=None, pad_edge=False)
        for heading in (
            "station",
            "box",
            "id",
            "state",
            "clock",
            "battery",
            "room",
            "logs",
            "port",
        ):
            table.add_column(heading)
        for row in rows:
            if "why" in row:
                out.print(row["why"], markup=False)
                continue
            clock = f"+-{row['bound_us'] / 1000:.1f} ms" if row["clock"] else "lost"
            battery = "USB" if row["usb"] else f"{row['mv'] / 1000:.2f} V"
            state = state_words(row["state"]) + (
                f", {fault_words(row['fault'])}" if row["fault"] else ""
            )
            cells = (
                str(row["station"] or "-"),
                row["box"],
                row["id"],
                state,
                clock,
                battery + (" low" if row["low"] else ""),
                f"{row['kb']} KB",
                str(row["runs"]),
                row["port"],
            )
            table.add_row(*map(Text, cells))
        if rows:
            out.print(table)
        for row in rows:
            if "why" not in row and (said := row.get("erred")):
                out.print(erred_words(row["box"], said, row["state"]), markup=False)
        print_strangers(others, out)

    fine = not others and not any("why" in row for row in rows)
    return Result({"boxes": rows, "others": others}, text, ok=fine and bool(rows))


def _status(connection: Connection) -> dict[str, Any]:
    """Return how a box is; raises BoxError for one with another link, with what waits on it."""
    from handbell.boxes.link.words import other_version

    status = connection.request("status")
    if not connection.ours:
        raise other_version(connection.label, connection.facts, status["runs"])
    return status


def stations_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``stations``."""
    parser.add_argument(
        "change", nargs="*", metavar="N=BOX", help="hang a box (its id, or the end of it) there"
    )
    parser.add_argument("--label", action="append", default=[], metavar="N=TEXT", help="name it")
    parser.add_argument(
        "--number", action="store_true", help="number all boxes that are plugged in, in port order"
    )
    port_argument(parser)
    parser.epilog = (
        "examples:\n  handbell stations --number\n  handbell stations 3=9f21\n"
        '  handbell stations --label 3="By the window"'
    )


def _pairs(words: list[str]) -> list[tuple[int, str]]:
    pairs = []
    for word in words:
        number, equals, value = word.partition("=")
        if not equals or not number.isdigit() or not value:
            raise UsageError(f"{word} is not of the form 3=BOX", "See handbell stations --help")
        pairs.append((int(number), value))
    return pairs


def stations_run(args: argparse.Namespace) -> Result:
    """Show or change the station map; boxes that are plugged in are told at once."""
    from handbell.boxes.classes.send import ascii_label
    from handbell.boxes.classes.stations import StationMap

    stations = StationMap()
    replaced: list[str] = []
    others: list[dict[str, str]] = []
    if args.change or args.number or args.label:
        with open_fleet(args) as fleet:
            others = strangers(fleet)
            ids = {c.facts["id"]: c for c in fleet.connections}
            if args.number:
                for n, connection in enumerate(sorted(fleet.connections, key=lambda c: c.url), 1):
                    stations.place(n, connection.facts["id"])
            for number, word in _pairs(args.change):
                fitting = [i for i in ids if i.endswith(word.lower())]
                if len(fitting) != 1:
                    raise HandbellError(
                        f"{len(fitting)} boxes that are plugged in have an id ending in {word}",
                        "See handbell boxes for the ids",
                    )
                old = stations.place(number, fitting[0])
                if old:
                    replaced.append(old)
            replaced = [box for box in replaced if not stations.number_of(box)]
            for number, label in _pairs(args.label):
                if number not in stations.stations:
                    raise HandbellError(
                        f"No box hangs at station {number}",
                        f"Hang one there first: handbell stations {number}=BOX",
                    )
                stations.stations[number].label = label
            stations.save()
            for number, station in stations.stations.items():
                if station.box in ids:
                    ids[station.box].request(
                        "name", station=number, label=ascii_label(station.label)
                    )
            for spare in replaced:
                if spare in ids:
                    ids[spare].request("name", station=0, label="")
    rows = [
        {"station": n, "box": s.box, "label": s.label} for n, s in sorted(stations.stations.items())
    ]

    def text(out: Console) -> None:
        if not rows:
            out.print("No station has a box yet. Number them: handbell stations --number")
        for row in rows:
            out.print(f"{row['station']:>3}  {row['box']}  {row['label']}", markup=False)
        for spare in replaced:
            out.print(f"{spare} is now a spare", markup=False)
        print_strangers(others, out)

    return Result({"stations": rows, "replaced": replaced, "others": others}, text, ok=not others)
