"""``new``: a plan to start from."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.times import clock
from handbell.base.words import listed, several
from handbell.cli import shared
from handbell.cli.output import Out
from handbell.cli.progress import Lines

if TYPE_CHECKING:
    from handbell.work.planning.new import Started

CREWS_SHOWN = 4


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="the file to write (TOML)")
    parser.add_argument(
        "formats",
        nargs="*",
        default=[],
        metavar="FORM",
        help="a block of each of these forms, in this order",
    )
    parser.set_defaults(more_go_to="formats")
    parser.add_argument("--title", help="what the class is called (default: from the file's name)")
    parser.add_argument("--people", type=int, metavar="N", help="how many come")
    parser.add_argument("--boxes", type=int, metavar="N", help="how many boxes (default: 4)")
    parser.add_argument(
        "--buttons", type=int, metavar="N", help="buttons of a box in use (default: 1)"
    )
    parser.add_argument(
        "--roster", metavar="GROUP", help="those of this group of the roster come, by their bibs"
    )
    parser.add_argument("--minutes", metavar="M", help="what the class may last: 45 or 42:30")
    shared.kit_argument(parser, "--kit", "kit for circuit and rotation, such as 'box, 2 rings'")
    parser.add_argument(
        "--ask-nothing", action="store_true", help="don't ask on a terminal for what isn't said"
    )
    parser.epilog = (
        "On a terminal it asks for what isn't said; Enter takes what stands in brackets.\n\n"
        "forms:\n"
        "  plain            some exercises in turn, for some rounds (if none is named)\n"
        "  circuit          the same with a rest after each, of exercises that go with your kit\n"
        "  rotation         a station for each exercise; groups move from one to the next\n"
        "  every-minute     a task at each minute, the rest of it is rest (often called EMOM)\n"
        "  as-many-rounds   as many rounds of a list as fit in the time (often called AMRAP)\n"
        "  under-a-cap      finish a list as fast as you can, within a time cap\n"
        "  ladder           reps that go up, down, or both\n"
        "  intervals        work and rest by the clock, such as 20 s and 10 s\n"
        "  relay            one person of each group at a time, by the clock\n"
        "  hand-over        the same, but who is done taps and the next one goes\n\n"
        "examples:\n"
        "  handbell new monday.toml\n"
        "  handbell new monday.toml every-minute ladder --people 12 --boxes 6\n"
        '  handbell new friday.toml rotation --people 16 --boxes 8 --kit "kettlebell, box"\n'
        '  handbell new relay.toml relay --title "Relay evening"'
    )


def run(args: argparse.Namespace) -> Started:
    """Call the operation, when what isn't said has been asked for."""
    from handbell.work.planning.new import Wishes, new

    if not (args.ask_nothing or args.json) and sys.stdin.isatty() and sys.stdout.isatty():
        from .new_questions import ask

        ask(args)
    wishes = Wishes(
        args.people,
        args.boxes,
        1 if args.buttons is None else args.buttons,
        args.roster,
        None if args.minutes is None else shared.slot_ms(args.minutes),
        tuple(args.kit or ()),
    )
    with Lines(Out(sys.stderr).console) as lines:
        return new(args.plan, args.formats, args.title or "", wishes, progress=lines)


def text(result: Started, out: Out) -> None:
    """Print what was written, for whom, and what to do with it."""
    out.line(f"Written to {result.written}: {result.title}, {clock(result.slot_ms)} in all.")
    people = [f"{crew.name} (bibs {' '.join(map(str, crew.bibs))})" for crew in result.crews]
    count = several(sum(len(crew.bibs) for crew in result.crews), "person", "people")
    if all(len(crew.bibs) == 1 for crew in result.crews):
        out.line(f"{count}, one at each box. More people: --people.")
    else:
        at = f"{count} at {several(len(result.crews), 'box', 'boxes')}"
        more = ", ..." if len(people) > CREWS_SHOWN else ""
        out.line(f"{at}: {', '.join(people[:CREWS_SHOWN])}{more}.")
    if result.in_turns:
        out.line("There are more people than buttons: all work, and they take turns to tap.")
    if result.without_bib:
        out.line(f"Without a bib on the roster, so not in the plan: {listed(result.without_bib)}.")
    if result.noted:
        bibs = ", ".join(map(str, result.noted))
        out.line(
            f"Own tasks for bibs {bibs}: handbell swap {result.written} --noted proposes them."
        )
    if result.kit_unused:
        out.line(f"Nothing for everybody was found for: {listed(result.kit_unused)}.")
    if result.why_not:
        out.line(f"Not the {clock(result.asked_ms or 0)} asked for. {result.why_not}.")
    out.line(f"Open it in an editor, then: handbell check {result.written}")
