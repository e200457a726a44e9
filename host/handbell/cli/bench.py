"""The command ``bench``: measures a box on a table and writes the sheet."""

from __future__ import annotations

import argparse
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.base.errors import HandbellError, UsageError
from handbell.cli.render import Result

if TYPE_CHECKING:
    from rich.console import Console

    from handbell.measure.measure import Bench

MOST_MINUTES = 240


def measure_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``bench``."""
    parser.add_argument("port", metavar="PORT", help="the box's serial port")
    parser.add_argument(
        "--minutes",
        type=float,
        default=5,
        metavar="N",
        help="between two looks at the crystal (default: 5; 30 is five times as exact)",
    )
    parser.add_argument(
        "--out", type=Path, metavar="SHEET.md", help="the sheet (default: named after box and time)"
    )
    parser.epilog = (
        "A box that rests is taken over, measured in its memory and restarted; one in a class\n"
        "refuses. Its timelines and logs are not touched, its clock must be set again by send.\n"
        "About 100 flash erases are spent. Exit code 1: something differs or was not measured.\n"
        "docs/makers/measure.md is the hour around it. Mind lithium cells, loud sound, flashing\n"
        "light.\n\n"
        "examples:\n  handbell measure /dev/ttyACM0\n"
        "  handbell measure COM5 --minutes 30 --out kitchen.md"
    )


def measure_run(args: argparse.Namespace) -> Result:
    """Measure a box and write the sheet, of what there is when it is broken off."""
    from handbell.cli.progress import Lines
    from handbell.cli.render import console
    from handbell.cli.world import host_clock
    from handbell.measure.measure import Bench
    from handbell.measure.sheet import default_path, write_sheet

    _check(args)
    with Lines(console(stderr=True)) as lines:
        bench = Bench(args.port, args.minutes, host_clock(), lines)
        try:
            bench.run()
        finally:
            path = args.out or default_path(bench)
            if bench.board:
                write_sheet(bench, path)
    return Result(_data(bench, path), lambda out: _print(bench, path, out), bench.good)


def _check(args: argparse.Namespace) -> None:
    if not 0 < args.minutes <= MOST_MINUTES:
        raise UsageError(f"--minutes {args.minutes:g} is not above 0 and up to {MOST_MINUTES}")
    if find_spec("mpremote") is None:  # told before the box leaves its firmware
        raise HandbellError(
            "mpremote is not here, which speaks to boards",
            "Install it: pip install 'handbell[boards]'",
        )
    if args.out is None:
        return
    if args.out.exists():
        raise UsageError(
            f"{args.out} is there already, perhaps with notes by hand", "Name another with --out"
        )
    if not args.out.parent.is_dir():
        raise UsageError(f"There is no folder {args.out.parent}", "Make it, or name another sheet")


def _data(bench: Bench, path: Path) -> dict[str, Any]:
    figures = [
        {
            "key": r.item.key,
            "what": r.item.what,
            "unit": r.item.unit,
            "value": r.value,
            "bound": r.bound,
            "low": r.item.low,
            "high": r.item.high,
            "verdict": r.verdict,
        }
        for r in bench.readings.values()
    ]
    return {
        "port": bench.url,
        "id": bench.facts.get("id"),
        "sheet": str(path),
        "board": bench.board,
        "good": bench.good,
        "differs": [r.item.key for r in bench.readings.values() if r.differs],
        "not_measured": [r.item.key for r in bench.readings.values() if r.failed],
        "remarks": bench.remarks,
        "figures": figures,
    }


def _print(bench: Bench, path: Path, out: Console) -> None:
    from rich.table import Table

    from handbell.measure.sheet import advice, measured

    table = Table(box=None, pad_edge=False)
    for head in ("what", "measured", "verdict"):
        table.add_column(head)
    for reading in bench.readings.values():
        table.add_row(reading.item.what, measured(reading), reading.verdict)
    out.print(table, markup=False)
    for reading in bench.readings.values():
        if reading.differs or reading.failed:
            out.print(advice(reading), markup=False)
    for remark in bench.remarks:
        out.print(remark, markup=False)
    out.print(f"The sheet, with lines for what is done by hand: {path}", markup=False)
