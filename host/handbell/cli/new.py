"""``new``: a plan to start from."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.errors import UsageError
from handbell.base.times import clock
from handbell.base.words import quoted
from handbell.cli.render import Result

if TYPE_CHECKING:
    from rich.console import Console

BOXES_MOST = 99


def new_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``new``."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="the file to write (TOML)")
    parser.add_argument(
        "formats", nargs="*", metavar="FORM", help="a block of each of these forms, in this order"
    )
    parser.set_defaults(more_go_to="formats")
    parser.add_argument("--title", help="what the class is called (default: from the file's name)")
    parser.add_argument("--boxes", type=int, default=4, metavar="N", help="how many boxes: 4")
    parser.epilog = (
        "forms:\n"
        "  plain            some exercises in turn, for some rounds (if none is named)\n"
        "  every-minute     a task at each minute, the rest of it is rest\n"
        "  as-many-rounds   as many rounds of a list as fit in the time\n"
        "  under-a-cap      a list as fast as can be, within a limit\n"
        "  ladder           reps that go up, down, or both\n"
        "  intervals        work and rest by the clock, such as 20 s and 10 s\n"
        "  relay            one person of each group at a time\n\n"
        "examples:\n"
        "  handbell new monday.toml\n"
        "  handbell new monday.toml every-minute ladder --boxes 6\n"
        '  handbell new relay.toml relay --title "Relay evening"'
    )


def new_run(args: argparse.Namespace) -> Result:
    """Write a plan to start from; a file that is there already stays as it is."""
    from handbell.coach.starters.starter import NAMES, PLAIN, starter
    from handbell.coach.writing.edit import write_plan
    from handbell.compile import build
    from handbell.plan.files import parse_plan

    formats = args.formats or [PLAIN]
    for name in formats:
        if name not in NAMES:
            raise UsageError(f"There is no form {quoted(name)}", f"Name one of {', '.join(NAMES)}")
    if not 1 <= args.boxes <= BOXES_MOST:
        raise UsageError(f"{args.boxes} boxes are too few or too many", "Say 1 to 99")
    title = args.title or _title(args.plan)
    data = starter(title, formats, args.boxes).encode()
    built = build(parse_plan(data, str(args.plan)))
    write_plan(args.plan, data, None)
    slot_ms = built.totals.slot_ms
    facts = {"written": str(args.plan), "title": title, "formats": formats, "slot_ms": slot_ms}

    def text(out: Console) -> None:
        out.print(f"Written to {args.plan}: {title}, {clock(slot_ms)} in all.", markup=False)
        out.print(f"Open it in an editor, then: handbell check {args.plan}", markup=False)

    return Result(facts, text)


def _title(path: Path) -> str:
    words = path.stem.replace("-", " ").replace("_", " ").strip()
    return words[:1].upper() + words[1:] or "Class"
