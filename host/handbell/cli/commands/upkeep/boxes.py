"""``boxes``: the boxes that are plugged in, listed, calibrated or tested."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.boxes.link.messages import Status
    from handbell.work.upkeep.boxes import Boxes, BoxSeen, Calibrated, Tested

HEADINGS = ("station", "box", "id", "state", "clock", "battery", "logs", "port")
END_OF_ID = 4  # letters of an id that tell boxes apart, as a rule
LITTLE_ROOM_KB = 64  # arming wants as much for a log


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
    from handbell.work.upkeep.boxes import boxes, calibrate, self_test

    if args.calibrate is not None:
        from handbell.cli.calibration import Shown

        with Shown(Out(sys.stderr)) as shown:
            return calibrate(args.calibrate, shown, args.port, args.store)
    if args.self_test:
        return self_test(_ask, args.buttons, args.port)
    return boxes(args.port, args.store)


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
    from handbell.work.upkeep.boxes import Calibrated, Tested

    if isinstance(result, Calibrated):
        calibration.text(result, out)
    elif isinstance(result, Tested):
        _tested(result, out)
    else:
        _listed(result, out)


def _listed(result: Boxes, out: Out) -> None:
    out.lines(row.why for row in result.boxes if row.why)
    told = [(row, row.status) for row in result.boxes if row.status is not None and not row.why]
    ids = [row.who.id for row, _ in told]
    end = next(n for n in range(END_OF_ID, 17) if len({i[-n:] for i in ids}) == len(ids))
    if told:
        rows = [_cells(row, status, end) for row, status in told]
        out.table(HEADINGS, rows, whole=(0, 2, 4, 7))
    plans: dict[str, list[str]] = {}
    for row, _ in told:
        plans.setdefault(_plan(row), []).append(row.box)
    for plan, names in plans.items():
        all_of = "all boxes" if len(names) == len(told) > 1 else ", ".join(names)
        out.line(f"{plan}: {all_of}")
    for row, status in told:
        if row.replaced:
            n, box = row.who.station, row.who.id[-end:]
            out.line(
                f"{row.box}: calls itself station {n}, and another box hangs there. handbell send "
                f"makes it a spare, handbell stations {n}={box} hangs it there again."
            )
        out.lines(_trouble(row.box, status))
    shared.strangers(out, result.others)


def _plan(row: BoxSeen) -> str:
    """Return which plan a box holds, in words."""
    if not row.plan:
        return "No plan"
    if row.plan != row.title:
        return f"{row.title}, not what was sent last" if row.title else _ANOTHER
    return row.plan


_ANOTHER = "Another plan than was sent last"


def _cells(row: BoxSeen, status: Status, end: int) -> tuple[object, ...]:
    from handbell.boxes.link.words import state_words

    battery = "USB" if status.usb else f"{status.battery_mv / 1000:.2f} V"
    return (
        "remote" if row.who.remote else row.who.station or "-",
        row.box,
        row.who.id[-end:],
        state_words(status.state),
        "lost" if status.bound_us is None else f"+-{status.bound_us / 1000:.1f} ms",
        battery + (" low" if status.low else ""),
        status.runs,
        row.port,
    )


def _trouble(box: str, status: Status) -> list[str]:
    """Return a sentence for each thing that is wrong with a box."""
    from handbell.boxes.link.words import erred_words, fault_error

    said = [str(fault_error(box, status.fault))] if status.fault else []
    if status.room_kb < LITTLE_ROOM_KB:
        said.append(f"{box}: has room for {status.room_kb} KB only. Run handbell collect.")
    if status.erred:
        said.append(erred_words(box, status.erred, status.state))
    return said


def _tested(result: Tested, out: Out) -> None:
    for row in result.parts:
        verdict = {True: "fine", False: "FAULT", None: "not judged"}[row.fine]
        words = f", {row.words}" if row.words else ""
        out.line(f"{row.box}: {row.part}: {verdict}{words}")
    out.lines(result.failed)
    shared.strangers(out, result.others)
