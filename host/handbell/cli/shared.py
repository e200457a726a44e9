"""Arguments and lines that several commands have."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from handbell.cli.output import Out
    from handbell.work.plugged_in import Stranger


def port_argument(parser: argparse.ArgumentParser) -> None:
    """Add --port, which every command that talks to boxes has."""
    parser.add_argument(
        "--port",
        action="append",
        metavar="ADDRESS",
        help="a serial port or socket://HOST:PORT; may be given several times "
        "(default: HANDBELL_PORTS, else every board found on USB)",
    )


def store_argument(parser: argparse.ArgumentParser) -> None:
    """Add --store."""
    parser.add_argument("--store", metavar="URL", help="the store (default: HANDBELL_STORE)")


def strangers(out: Out, others: Iterable[Stranger]) -> None:
    """Print the ports where no box answered."""
    for other in others:
        named = other.why.startswith(f"{other.port}: ")
        out.line(other.why if named else f"{other.port}: {other.why}")
