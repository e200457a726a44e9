"""``swap``: other exercises in a plan, with reasons."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from handbell.base.choices import REASONS
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.planning.swap import Swap, Swapped

CHOICES_END = "Pain stops the exercise, whichever it is; ask a qualified professional."
UNSEEN = (
    "Only the plan's exercises were looked at: look through warm-up, cool-down and own tasks of "
    "single bibs yourself"
)
PAIN = (
    "Pain is for a qualified health professional to judge: have the person ask one, and stop "
    "what hurts. The list only leaves out what loads that part by the library's rules."
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    shared.plan_argument(parser)
    parser.add_argument(
        "exercise",
        nargs="?",
        metavar="EXERCISE",
        help="what to swap; left out: all that lack kit or load a sore part",
    )
    parser.add_argument("--because", choices=REASONS, help="why")
    parser.add_argument(
        "--where", action="append", default=[], metavar="PART", help="with sore: knee, wrist, ..."
    )
    shared.kit_argument(parser, "--without", "kit that isn't there")
    shared.kit_argument(parser, "--kit", "all the kit there is")
    parser.add_argument("--to", metavar="NAME", help="swap to this one")
    parser.add_argument("--block", type=int, metavar="N", help="only in this block")
    shared.writing_arguments(parser)
    shared.library_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell swap monday.toml Push-up --because too-hard\n"
        '  handbell swap monday.toml --without "suspension straps,bench"\n'
        "  handbell swap monday.toml --because sore --where wrist\n"
        '  handbell swap monday.toml Row --to "Band row" --write'
    )


def run(args: argparse.Namespace) -> Swapped:
    """Call the operation."""
    from handbell.work.planning.swap import Reasons, swap

    reasons = Reasons(args.because, args.where, args.without, args.kit)
    return swap(
        args.plan,
        args.exercise,
        reasons,
        args.to,
        args.block,
        args.library,
        args.write,
        args.out,
    )


def text(result: Swapped, out: Out) -> None:
    """Print each swap with its choices, the change of the file, and what to mind."""
    if not result.swaps:
        known = "Every exercise that the library knows" if result.unknown else "Every exercise"
        out.line(f"{known} of the plan can be done as things stand; nothing to swap.")
    for one in result.swaps:
        _print_swap(one, bool(result.sore), out)
    out.lines(result.difference)
    for warning in result.warnings:
        out.note(warning)
    if result.sore:
        _print_sore(result, out)
    left = [one.exercise for one in result.swaps if one.stuck]
    shared.written(out, result.written, len(left) < len(result.swaps))
    if left:
        out.line(f"Still in the plan: {', '.join(left)}. Leave out what nothing can replace.")


def _print_swap(one: Swap, sore: bool, out: Out) -> None:
    taken = f", taken as {one.known}" if one.known else ""
    why = f": {one.because}" if one.because else ""
    out.line(f"{one.exercise}{taken} ({one.where}){why}")
    if one.stuck:
        out.line(f"  {one.stuck}")
        return
    rows = [(f"{n}. {c.name}", "; ".join(c.why)) for n, c in enumerate(one.choices, 1)]
    out.pairs(rows)
    for words in (*one.changes, one.cautions):
        if words:
            out.line(f"  {one.choices[0].name}: {words}")
    if len(one.choices) > 1:
        out.line("  The first is taken; --to NAME takes another.")
    if sore:
        out.line(f"  {CHOICES_END}")


def _print_sore(result: Swapped, out: Out) -> None:
    if any(word.casefold() == "back" for word in result.sore):
        out.note("back is taken as the spine; for the shoulder blades, say upper back")
    if result.unknown:
        out.note(f"not in the library, so not looked at: {', '.join(result.unknown)}")
    out.note(UNSEEN)
    out.line(PAIN)
