"""``boxes``: the boxes that are plugged in, listed, calibrated or tested."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.boxes import Boxes, BoxSeen, Calibrated, Tested

HEADINGS = ("station", "box", "id", "state", "plan", "clock", "battery", "room", "logs", "port")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument(
        "--calibrate",
        type=int,
        metavar="MINUTES",
        help="watch the clocks so long, learn the rate of each crystal and give it to its box",
    )
    parser.add_argument(
        "--self-test",
        action="store_true",
        help="work each part of each box that is idle, and name the part that fails",
    )
    parser.add_argument(
        "--buttons",
        type=int,
        choices=range(1, 5),
        default=1,
        help="buttons fitted, for --self-test",
    )
    shared.port_argument(parser)
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n  handbell boxes\n  handbell boxes --port socket://127.0.0.1:5000\n"
        "  handbell boxes --calibrate 30\n  handbell boxes --self-test --buttons 2\n\n"
        "Crystals differ: uncalibrated boxes may part by 20 ms within six minutes. Calibrate once\n"
        "a month, with the boxes as warm as in class. Ctrl-C ends it early; what is known is kept."
    )


def run(args: argparse.Namespace) -> Boxes | Calibrated | Tested:
    """Call the operation."""
    from handbell.work.boxes import boxes, calibrate, self_test

    if args.calibrate is not None:
        from handbell.cli.calibration import Shown

        with Shown(Out(sys.stderr)) as shown:
            return calibrate(args.calibrate, shown, args.port, args.store)
    if args.self_test:
        return self_test(_ask, args.buttons, args.port)
    return boxes(args.port)


def _ask(question: str) -> str | None:
    """Ask at the terminal; None where there is none."""
    if not sys.stdin.isatty():
        return None
    sys.stderr.write(question)
    sys.stderr.flush()
    line = sys.stdin.readline()
    return line.rstrip("\n") if line else None


def text(result: Boxes | Calibrated | Tested, out: Out) -> None:
    """Print what was found."""
    from handbell.cli import calibration
    from handbell.work.boxes import Calibrated, Tested

    if isinstance(result, Calibrated):
        calibration.text(result, out)
    elif isinstance(result, Tested):
        _tested(result, out)
    else:
        _listed(result, out)


def _listed(result: Boxes, out: Out) -> None:
    from handbell.boxes.link.words import erred_words

    out.lines(row.why for row in result.boxes if row.why)
    rows = [_cells(row) for row in result.boxes if not row.why]
    if rows:
        out.table(HEADINGS, rows)
    for row in result.boxes:
        if row.status and not row.why and row.status.erred:
            out.line(erred_words(row.box, row.status.erred, row.status.state))
    shared.strangers(out, result.others)


def _cells(row: BoxSeen) -> tuple[object, ...]:
    from handbell.boxes.link.words import fault_words, state_words

    status = row.status
    assert status is not None
    fault = f", {fault_words(status.fault)}" if status.fault else ""
    battery = "USB" if status.usb else f"{status.battery_mv / 1000:.2f} V"
    return (
        row.who.station or "-",
        row.box,
        row.who.id,
        state_words(status.state) + fault,
        row.plan or "-",
        "lost" if status.bound_us is None else f"+-{status.bound_us / 1000:.1f} ms",
        battery + (" low" if status.low else ""),
        f"{status.room_kb} KB",
        status.runs,
        row.port,
    )


def _tested(result: Tested, out: Out) -> None:
    for row in result.parts:
        verdict = {True: "fine", False: "FAULT", None: "not judged"}[row.fine]
        words = f", {row.words}" if row.words else ""
        out.line(f"{row.box}: {row.part}: {verdict}{words}")
    out.lines(result.failed)
    shared.strangers(out, result.others)
