"""``rehearse``: the bells of a class, to listen to."""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.errors import UsageError
from handbell.base.times import whole_clock
from handbell.base.words import several
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.planning.rehearse import Rehearsal


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    shared.plan_argument(parser)
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="the sound file (default: PLAN.wav, here)"
    )
    parser.add_argument(
        "--box", type=int, default=1, metavar="N", help="the box of station N (default: 1)"
    )
    parser.add_argument(
        "--from", dest="start", default="0", metavar="M:SS", help="begin at that time of show"
    )
    parser.add_argument("--to", dest="end", metavar="M:SS", help="end there")
    parser.add_argument(
        "--speed",
        type=int,
        choices=range(1, 9),
        default=1,
        help="bells as they are, the time between them shorter (default: 1)",
    )
    parser.epilog = (
        "examples:\n"
        "  handbell rehearse monday.toml\n"
        "  handbell rehearse monday.toml --from 4:00 --to 7:30\n"
        "  handbell rehearse monday.toml --speed 4"
    )


def run(args: argparse.Namespace) -> Rehearsal:
    """Call the operation."""
    from handbell.work.planning.rehearse import rehearse

    end_ms = None if args.end is None else _ms("--to", args.end)
    start_ms = _ms("--from", args.start)
    return rehearse(args.plan, args.out, args.box, start_ms, end_ms, args.speed)


def text(result: Rehearsal, out: Out) -> None:
    """Print what was written, and how to listen to it."""
    long = whole_clock(result.length_ms)
    out.line(f"Written to {result.written}: {several(result.bells, 'bell')} in {long}.")
    if result.gates:
        gate_s = result.gate_ms // 1000
        out.line(f"A gate, where the class waits for the coach, is {gate_s} s here.")
    out.line("Turn the sound down before you play it; start low with headphones.")


def _ms(option: str, word: str) -> int:
    match = re.fullmatch(r"(?:(?:(\d{1,2}):)?(\d{1,4}):)?(\d{1,5})", word)
    if match is None or (match[2] and int(match[3]) > 59):
        raise UsageError(f"{option} {word} is no time", "Say minutes and seconds, such as 4:30")
    hours, minutes, seconds = (int(part or 0) for part in match.groups())
    return ((hours * 60 + minutes) * 60 + seconds) * 1000
