"""``boxes --self-test``: works each part of each box, asks what a box can't sense, names faults."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Any

from handbell.base.errors import BoxError, HandbellError
from handbell.cli.render import Result

if TYPE_CHECKING:
    from rich.console import Console


def self_test_run(args: argparse.Namespace) -> Result:
    """Test the boxes one after another; a fault of any makes the exit code 1."""
    from handbell.boxes.selftest import SelfTest
    from handbell.cli.boxes import open_fleet, print_strangers, strangers

    rows: list[dict[str, Any]] = []
    with open_fleet(args) as fleet:
        if not fleet.connections:
            raise fleet.strangers[0].error or HandbellError("No box answers")
        for connection in fleet.connections:
            test = SelfTest(connection, _ask, args.buttons)
            why = ""
            try:
                test.run()
            except BoxError as error:
                why = str(error)
            rows += [
                {"box": connection.label, "part": f.part, "fine": f.fine, "words": f.words}
                for f in test.findings
            ]
            if why:
                rows.append({"box": connection.label, "part": "link", "fine": False, "words": why})
        others = strangers(fleet)

    def text(out: Console) -> None:
        for row in rows:
            verdict = {True: "fine", False: "FAULT", None: "not judged"}[row["fine"]]
            words = f", {row['words']}" if row["words"] else ""
            out.print(f"{row['box']}: {row['part']}: {verdict}{words}", markup=False)
        print_strangers(others, out)

    fine = all(row["fine"] for row in rows) and not others
    return Result({"parts": rows, "others": others}, text, ok=fine)


def _ask(question: str) -> str | None:
    """Ask at the terminal; None where there is none."""
    if not sys.stdin.isatty():
        return None
    print(question, end="", file=sys.stderr, flush=True)
    line = sys.stdin.readline()
    return line.rstrip("\n") if line else None
