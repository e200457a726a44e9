"""``exercises`` and ``swap``: the library of exercises, and changing a plan with it."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.base.errors import UsageError
from handbell.cli.plans import library_argument
from handbell.cli.render import Result

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rich.console import Console

    from handbell.coach.library.entry import Entry
    from handbell.coach.library.shelf import Library
    from handbell.coach.swap.rank import Wish
    from handbell.coach.swap.swap import Swap
    from handbell.coach.writing.edit import PlanText

CHOICES_SHOWN = 5
CHOICES_END = "Pain stops the exercise, whichever it is; ask a qualified professional."
UNSEEN = (
    "Only the plan's exercises were looked at: look through warm-up, cool-down and own tasks of "
    "single bibs yourself"
)
PAIN = (
    "Pain is for a qualified health professional to judge: have the person ask one, and stop "
    "what hurts. The list only leaves out what loads that part by the library's rules."
)


def _kit_argument(parser: argparse.ArgumentParser, name: str, help_: str) -> None:
    parser.add_argument(name, action="append", default=None, metavar="KIT", help=help_)


# exercises


def exercises_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``exercises``."""
    from handbell.coach.library.entry import PATTERNS

    parser.add_argument("words", nargs="*", metavar="WORD", help="words of its name, kit, muscles")
    parser.add_argument("--pattern", choices=PATTERNS, help="only this pattern")
    _kit_argument(parser, "--without", "kit that isn't there; again for more, or with commas")
    library_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell exercises push-up          everything about one, or a list\n"
        "  handbell exercises --pattern pull\n"
        '  handbell exercises grip --without "suspension straps,dumbbells"'
    )


def exercises_run(args: argparse.Namespace) -> Result:
    """List the library, or say everything about one exercise."""
    from handbell.coach.library.shelf import load_library

    library = load_library(args.library)
    without = _missing_kit(library, args.without)
    exact = library.find(" ".join(args.words)) if args.words else None
    found = library.search(args.words, args.pattern, without)
    data = {"exercises": [_entry_facts(library, entry) for entry in found]}
    if exact is not None and exact in found:
        data["exercises"] = [_entry_facts(library, exact)]
        return Result(data, lambda out: _print_entry(library, exact, out))
    return Result(data, lambda out: _print_entries(found, " ".join(args.words), library, out))


def _kit_keys(library: Library, said: Iterable[str] | None) -> frozenset[str]:
    items = (item.strip() for text in said or () for item in text.split(","))
    return frozenset(library.kit_key(item) for item in items if item)


def _missing_kit(library: Library, said: Iterable[str] | None) -> frozenset[str]:
    """Return the kit that isn't there. Raises UsageError when it is asked for but not said."""
    keys = _kit_keys(library, said)
    if said and not keys:
        raise UsageError("It is not said which kit is missing", "Add --without bench, or another")
    return keys


def _entry_facts(library: Library, entry: Entry) -> dict[str, Any]:
    return {
        **entry.model_dump(),
        "loads": entry.bears,
        "easier": [other.id for other in library.easier(entry)],
        "harder": [other.id for other in library.harder(entry)],
    }


def _count_words(entry: Entry) -> str:
    if entry.hold_s:
        return "{}-{} s".format(*entry.hold_s)
    assert entry.reps_30s is not None
    return "{}-{}".format(*entry.reps_30s)


def _print_entries(found: list[Entry], words: str, library: Library, out: Console) -> None:
    from rich.table import Table
    from rich.text import Text

    if not found:
        near = library.near(words) if words else []
        out.print(f"None found.{' Near: ' + ', '.join(near) + '.' if near else ''}", markup=False)
        return
    table = Table(box=None, pad_edge=False)
    for heading in ("exercise", "pattern", "level", "in 30 s", "floor", "impact", "kit"):
        table.add_column(heading, justify="right" if heading in ("level", "in 30 s") else "left")
    for e in found:
        count, kit = _count_words(e), e.kit_words if e.kit else ""
        cells = (e.name, e.pattern, str(e.level), count, e.space, e.impact, kit)
        table.add_row(*(Text(cell) for cell in cells))
    out.print(table)
    out.print(f"{len(found)} exercises." if len(found) > 1 else "1 exercise.", markup=False)


def _print_entry(library: Library, entry: Entry, out: Console) -> None:
    sides = {"both": "both sides at once", "alternate": "sides by turns", "one": "one side at once"}
    lines = [
        ("", entry.how),
        ("also called", ", ".join(entry.aliases)),
        ("pattern", " and ".join(entry.patterns)),
        ("level", f"{entry.level} of 5{', needs practice' if entry.skill else ''}"),
        ("kit", entry.kit_words),
        ("floor, impact", f"{entry.space}, {entry.impact}; {entry.position}"),
        ("sides", sides[entry.sides]),
        ("hold" if entry.is_hold else "reps in 30 s", _count_words(entry)),
        ("tap", ", ".join(entry.taps)),
        ("does", ", ".join(entry.does)),
        ("tires", ", ".join(entry.tires)),
        ("loads", ", ".join(entry.bears)),
        ("easier", ", ".join(e.name for e in library.easier(entry)) or "nothing, it is an end"),
        ("harder", ", ".join(e.name for e in library.harder(entry)) or "nothing, it is an end"),
        ("lever", entry.lever),
        ("caution", entry.cautions),
    ]
    out.print(f"{entry.name} ({entry.id})", markup=False)
    for what, words in lines:
        if words:
            out.print(f"  {what:<14}{words}" if what else f"  {words}", markup=False)


# swap


def swap_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``swap``."""
    from handbell.coach.swap.rank import REASONS

    parser.add_argument("plan", type=Path, metavar="PLAN", help="the plan file (TOML)")
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
    _kit_argument(parser, "--without", "kit that isn't there; again for more, or with commas")
    _kit_argument(parser, "--kit", "all the kit there is; again for more, or with commas")
    parser.add_argument("--to", metavar="NAME", help="swap to this one")
    parser.add_argument("--block", type=int, metavar="N", help="only in this block")
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--write", action="store_true", help="write the plan; else only show it")
    how.add_argument("--out", type=Path, metavar="FILE", help="write to another file")
    library_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell swap monday.toml Push-up --because too-hard\n"
        '  handbell swap monday.toml --without "suspension straps,bench"\n'
        "  handbell swap monday.toml --because sore --where wrist\n"
        '  handbell swap monday.toml Row --to "Band row" --write'
    )


def swap_run(args: argparse.Namespace) -> Result:
    """Find what may take an exercise's place, show the change, and write it when told to."""
    from handbell.coach.library.remarks import coach_remarks
    from handbell.coach.library.shelf import load_library
    from handbell.coach.swap.swap import facts, find_swaps, swapped
    from handbell.coach.writing.edit import PlanText, read_plan, write_plan
    from handbell.compile.schedule import resolve
    from handbell.plan.remarks import remarks

    library = load_library(args.library)
    wish = _wish(args, library)
    before = read_plan(args.plan)
    text = PlanText(before, str(args.plan))
    if args.block is not None and not 1 <= args.block <= len(text.plan.blocks):
        raise UsageError(
            f"{args.plan} has no block {args.block}",
            f"Name a block from 1 to {len(text.plan.blocks)}",
        )
    swaps = find_swaps(text, library, wish, args.exercise, args.to, args.block)
    moving = [swap for swap in swaps if swap.choices]
    after, built = swapped(text, swaps) if moving else (before, None)
    path = args.out or (args.plan if args.write else None)
    if path is not None and (moving or not swaps):
        write_plan(path, after, None if args.out else before)
    warnings: list[str] = []
    if built is not None:
        known = {*coach_remarks(resolve(text.plan), library), *remarks(text.plan)}
        told = [*remarks(built.plan), *coach_remarks(built.schedule, library)]
        warnings = [w for w in told if w not in known]
    data = {
        "plan": str(args.plan),
        "swaps": facts(swaps, CHOICES_SHOWN),
        "difference": _difference(before, after),
        "warnings": warnings,
        "unknown": _unknown(text, library) if wish.sore else [],
        "written": str(path) if path is not None and moving else None,
    }
    return Result(data, lambda out: _print_swaps(data, swaps, wish, out), ok=moving == swaps)


def _unknown(text: PlanText, library: Library) -> list[str]:
    """Return the exercises of which the library can't say what they load."""
    names = (place.values["name"] for place in text.exercises)
    return list(dict.fromkeys(name for name in names if library.find(name) is None))


def _wish(args: argparse.Namespace, library: Library) -> Wish:
    from handbell.coach.swap.rank import Wish, sore_parts

    sore = sore_parts(args.where)
    if args.because == "sore" and not sore:
        raise UsageError("It is not said what is sore", "Add --where knee, or another part")
    if args.where and args.because != "sore":
        raise UsageError("--where goes with --because sore", "Add --because sore")
    if args.to is not None and args.exercise is None:
        raise UsageError("--to needs the exercise that it replaces", "Name it before --to")
    everywhere = args.without or args.kit or args.because == "sore"
    if args.exercise is None and not everywhere:
        raise UsageError("It is not said what to swap", "Name an exercise, or --without some kit")
    kit = None if args.kit is None else _kit_keys(library, args.kit)
    if kit is None and library.kit is not None:
        kit = _kit_keys(library, library.kit)
    return Wish(args.because, sore, _missing_kit(library, args.without), kit)


def _difference(before: bytes, after: bytes) -> list[str]:
    import difflib

    old, new = (data.decode("utf-8-sig").splitlines() for data in (before, after))
    return [*difflib.unified_diff(old, new, "now", "then", n=1, lineterm="")][2:]


def _print_swaps(data: dict[str, Any], swaps: list[Swap], wish: Wish, out: Console) -> None:
    from rich.table import Table
    from rich.text import Text

    from handbell.plan.faults import place_words

    if not swaps:
        known = "Every exercise that the library knows" if data["unknown"] else "Every exercise"
        out.print(f"{known} of the plan can be done as things stand; nothing to swap.")
    for swap in swaps:
        where = "; ".join(place_words(p.place) for p in swap.places)
        taken = f", taken as {swap.old.name}" if swap.old and swap.old.name != swap.name else ""
        why = f": {swap.because}" if swap.because else ""
        out.print(f"{swap.name}{taken} ({where}){why}", markup=False)
        if swap.stuck:
            out.print(f"  {swap.stuck}", markup=False)
            continue
        table = Table(box=None, pad_edge=False, show_header=False, padding=(0, 1))
        for n, choice in enumerate(swap.choices[:CHOICES_SHOWN], 1):
            cells = (f"{n}.", choice.entry.name, "; ".join(choice.why))
            table.add_row(*(Text(cell) for cell in cells))
        out.print(table)
        for words in (*swap.said, swap.new.cautions):
            if words:
                out.print(f"  {swap.new.name}: {words}", markup=False)
        if wish.sore:
            out.print(f"  {CHOICES_END}")
    for line in data["difference"]:
        out.print(line, markup=False)
    for warning in data["warnings"]:
        out.print(f"  note: {warning}", markup=False)
    if wish.sore:
        _print_sore(data, wish, out)
    left = [swap.name for swap in swaps if swap.stuck]
    if data["written"]:
        out.print(f"Written to {data['written']}.", markup=False)
    elif len(left) < len(swaps):
        out.print("Nothing is written yet. Add --write, or --to NAME for another one.")
    if left:
        still = f"Still in the plan: {', '.join(left)}. Leave out what nothing can replace."
        out.print(still, markup=False)


def _print_sore(data: dict[str, Any], wish: Wish, out: Console) -> None:
    if any(word.casefold() == "back" for word in wish.sore):
        out.print("  note: back is taken as the spine; for the shoulder blades, say upper back")
    if data["unknown"]:
        names = ", ".join(data["unknown"])
        out.print(f"  note: not in the library, so not looked at: {names}", markup=False)
    out.print(f"  note: {UNSEEN}")
    out.print(PAIN)
