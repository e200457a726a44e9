"""``swap``: other exercises in a plan, with reasons."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from handbell.base.choices import REASONS
from handbell.base.errors import UsageError
from handbell.base.words import listed, quoted
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.planning.noted import NotedTasks
    from handbell.work.planning.swap import Swap, Swapped

CHOICES_END = "Pain stops the exercise, whichever it is; ask a qualified professional."
UNSEEN = (
    "Only the plan's exercises were looked at: look through warm-up, cool-down and own tasks of "
    "single bibs yourself"
)
UNSEEN_OWN = (
    "Only what they do in the blocks was looked at: look through warm-up and cool-down yourself"
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
        help="what to swap; left out: all that lack kit or load a sore part; for a bib, all that "
        "is too hard or too easy",
    )
    parser.add_argument(
        "new", nargs="?", metavar="NEW", help="what takes its place; left out: the nearest"
    )
    parser.set_defaults(more=[], more_go_to="more")
    parser.add_argument(
        "--bib",
        action="append",
        default=[],
        metavar="BIB",
        help="only for this one, as an own task; again for more, or with commas",
    )
    parser.add_argument("--because", choices=REASONS, help="why")
    parser.add_argument(
        "--where", action="append", default=[], metavar="PART", help="with sore: knee, wrist, ..."
    )
    shared.kit_argument(parser, "--without", "kit that isn't there")
    shared.kit_argument(parser, "--kit", "all the kit there is")
    parser.add_argument(
        "--noted",
        action="store_true",
        help="own tasks for who has a standing note (handbell roster --note), by their bibs",
    )
    parser.add_argument("--group", help="with --noted: only the people of this group")
    parser.add_argument("--block", type=int, metavar="N", help="only in this block")
    shared.writing_arguments(parser)
    shared.library_argument(parser)
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell swap monday.toml Push-up --because too-hard\n"
        '  handbell swap monday.toml --without "suspension straps,bench"\n'
        "  handbell swap monday.toml --because sore --where wrist\n"
        '  handbell swap monday.toml Row "Band row" --write\n'
        "  handbell swap monday.toml --bib 6 --because sore --where wrist\n"
        '  handbell swap monday.toml Push-up "Knee push-up" --bib 6,7 --write\n'
        "  handbell swap monday.toml --noted --group Monday --write"
    )


def run(args: argparse.Namespace) -> Swapped | NotedTasks:
    """Call the operation."""
    if args.noted:
        return _noted(args)
    if args.group:
        raise UsageError("--group goes with --noted", "Add --noted")
    from handbell.work.planning.swap import Reasons, swap

    reasons = Reasons(args.because, args.where, args.without, args.kit)
    names = [name for name in (args.exercise, args.new, *args.more) if name is not None]
    if len(names) > 2:
        raise UsageError(
            f"{names[2]} is one name too many",
            "Name the exercise and what takes its place, names of several words in quotes",
        )
    return swap(
        args.plan,
        names[0] if names else None,
        reasons,
        names[1] if len(names) > 1 else None,
        args.block,
        args.library,
        args.write,
        args.out,
        _bibs(args.bib),
    )


def _noted(args: argparse.Namespace) -> NotedTasks:
    from handbell.work.planning.noted import swap_noted

    others = (args.exercise, args.because, args.without, args.kit, args.block)
    if any(one is not None for one in others) or args.bib or args.where:
        raise UsageError("--noted goes by the notes alone", "Leave all but --group out")
    today = datetime.now().astimezone().date()
    what = (args.library, args.write, args.out, args.store)
    return swap_noted(args.plan, today, args.group, *what)


def _bibs(said: Sequence[str]) -> list[int]:
    """Return the bibs that were said, commas between them; raises UsageError."""
    from handbell.plan.values import BIB_MOST

    words = [word.strip() for text in said for word in text.split(",")]
    for word in words:
        if not word.isdecimal() or not 1 <= int(word[:9]) <= BIB_MOST:
            raise UsageError(f"{quoted(word[:20])} is no bib", "Give numbers, such as --bib 6,7")
    return [int(word) for word in words]


def text(result: Swapped | NotedTasks, out: Out) -> None:
    """Print each swap with its choices, the change of the file, and what to mind."""
    from handbell.work.planning.noted import NotedTasks

    if isinstance(result, NotedTasks):
        _print_noted(result, out)
        return
    if result.idle:
        from handbell.plan.own_tasks import bibs_words

        out.line(f"Nothing to swap for {bibs_words(result.idle)}.")
    elif not result.swaps:
        some = result.unknown or result.loads_unknown
        known = "Every exercise that the library knows" if some else "Every exercise"
        out.line(f"{known} of the plan can be done as things stand; nothing to swap.")
    for one in result.swaps:
        _print_swap(one, bool(result.sore), out)
    out.lines(result.difference)
    for warning in result.warnings:
        out.note(warning)
    if result.unknown:
        out.note(f"not in the library, so not looked at: {', '.join(result.unknown)}")
    if result.loads_unknown:
        names = ", ".join(result.loads_unknown)
        out.note(
            f"not known what it loads, so not looked at: {names}; write does or loads into your "
            "file of exercises"
        )
    if result.sore:
        _print_sore(result, out)
    left = list(
        dict.fromkeys(one.exercise for one in result.swaps if one.stuck and not one.left_out)
    )
    shared.written(out, result.written, bool(result.difference))
    if left:
        out.line(f"Still in the plan: {', '.join(left)}. Leave out what nothing can replace.")


def _print_noted(result: NotedTasks, out: Out) -> None:
    """Print who gets which own task, and not why: others may look on."""
    from handbell.plan.own_tasks import bibs_words

    if not result.tasks:
        out.line("No own task is proposed.")
    for one in result.tasks:
        instead = one.instead or "Rest"
        out.line(f"{one.exercise} for {bibs_words(one.bibs)} ({one.where}): {instead}")
        if one.cautions:
            out.line(f"  {instead}: {one.cautions}")
    out.lines(result.difference)
    if result.unseen:
        out.note(f"not enough is known of these, look yourself: {', '.join(result.unseen)}")
    if result.stuck:
        out.note(f"nothing takes the place of {', '.join(result.stuck)}: look yourself")
    if result.strangers:
        out.note(f"people with a note who wear no bib of this plan: {result.strangers}")
    if result.tasks:
        out.line(CHOICES_END)
    shared.written(out, result.written, bool(result.difference))


def _print_swap(one: Swap, sore: bool, out: Out) -> None:
    from handbell.plan.own_tasks import bibs_words

    taken = f", taken as {one.known}" if one.known else ""
    why = f": {one.because}" if one.because else ""
    whose = f" for {bibs_words(one.bibs)}" if one.bibs else ""
    out.line(f"{one.exercise}{whose}{taken} ({one.where}){why}")
    if one.stuck:
        out.line(f"  {one.stuck}")
        if one.left_out:
            out.line(f"  Left out, with out = true: the box says Rest to {bibs_words(one.bibs)}")
        out.lines(f"  {words}" for words in one.changes)
        return
    rows = [(f"{n}. {c.name}", "; ".join(c.why)) for n, c in enumerate(one.choices, 1)]
    out.pairs(rows)
    for words in (*one.changes, one.cautions):
        if words:
            out.line(f"  {one.choices[0].name}: {words}")
    if one.given_up:
        out.line(f"  Given up: {one.given_up}")
    if one.newly_loads:
        parts = listed(one.newly_loads)
        out.line(f"  {one.choices[0].name}: loads the {parts}, which {one.exercise} does not")
    if len(one.choices) > 1:
        out.line("  The first is taken; name another behind it to take that.")
    if sore:
        out.line(f"  {CHOICES_END}")


def _print_sore(result: Swapped, out: Out) -> None:
    before = [one for one in result.swaps if one.chosen_before]
    if before:
        names = listed(list(dict.fromkeys(one.exercise for one in before)))
        both = ", ".join(("back" if "back" not in result.sore else "wrist", *result.sore))
        out.note(
            f"{names}: chosen for single bibs before, and the plan doesn't say why; where another "
            f'part is sore as well, name all of them: --where "{both}"'
        )
    if any(word.casefold() == "back" for word in result.sore):
        out.note("back is taken as the spine; for the shoulder blades, say upper back")
    if result.also_spared:
        out.note(f"spared too, as what these muscles move: {', '.join(result.also_spared)}")
    out.note(UNSEEN_OWN if result.bibs else UNSEEN)
    out.line(PAIN)
