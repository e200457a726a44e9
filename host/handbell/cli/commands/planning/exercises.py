"""``exercises``: the library, or everything about one exercise."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from handbell.base.choices import PATTERNS
from handbell.base.words import several
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.planning.exercises import Found, Known, Neighbour

SIDES = {"both": "both sides at once", "alternate": "sides by turns", "one": "one side at once"}


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument("words", nargs="*", metavar="WORD", help="words of its name, kit, muscles")
    parser.add_argument("--pattern", choices=PATTERNS, help="only this pattern")
    shared.kit_argument(parser, "--without", "kit that isn't there")
    shared.library_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell exercises push-up          everything about one, or a list\n"
        "  handbell exercises --pattern pull\n"
        '  handbell exercises grip --without "suspension straps,dumbbells"'
    )


def run(args: argparse.Namespace) -> Found:
    """Call the operation."""
    from handbell.work.planning.exercises import exercises

    return exercises(args.words, args.pattern, args.without, args.library)


def text(result: Found, out: Out) -> None:
    """Print one exercise whole, or a line for each."""
    if result.named:
        _print_whole(result.exercises[0], out)
    elif result.exercises:
        headings = ("exercise", "pattern", "level", "in 30 s", "floor", "impact", "kit")
        out.table(headings, map(_cells, result.exercises), right=(2, 3))
        out.line(f"{several(len(result.exercises), 'exercise')}.")
    else:
        near = f" Near: {', '.join(result.near)}." if result.near else ""
        out.line(f"None found.{near}")


def _cells(e: Known) -> tuple[object, ...]:
    kit = e.kit_words if e.kit else ""
    return (e.name, e.pattern, e.level, _count(e), e.space, e.impact, kit)


def _count(e: Known) -> str:
    least, most = e.hold_s or e.reps_30s or (0, 0)
    return f"{least}-{most} s" if e.hold_s else f"{least}-{most}"


def _print_whole(e: Known, out: Out) -> None:
    out.line(f"{e.name} ({e.id})")
    if e.how:
        out.line(f"  {e.how}")
    rows = (
        ("also called", ", ".join(e.aliases)),
        ("pattern", " and ".join((e.pattern, *e.also))),
        ("level", f"{e.level} of 5{', needs practice' if e.skill else ''}"),
        ("kit", e.kit_words),
        ("floor, impact", f"{e.space}, {e.impact}; {e.position}"),
        ("sides", SIDES[e.sides]),
        ("hold" if e.hold_s else "reps in 30 s", _count(e)),
        ("tap", ", ".join(e.taps)),
        ("does", ", ".join(e.does)),
        ("tires", ", ".join(e.tires)),
        ("loads", ", ".join(e.loads) if e.loads_known else _unsure(e)),
        ("easier", _names(e.easier)),
        ("harder", _names(e.harder)),
        ("lever", e.lever),
        ("caution", e.cautions),
    )
    out.pairs(((what, words) for what, words in rows if words), wide=14)


def _unsure(e: Known) -> str:
    """Return what is known of loads where nobody wrote them."""
    known = f"{', '.join(e.loads)}; " if e.loads else ""
    return f"{known}what else isn't known, so write does or loads"


def _names(steps: tuple[Neighbour, ...]) -> str:
    return ", ".join(one.name for one in steps) or "nothing, it is an end"
